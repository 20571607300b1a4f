"""Draws every picture of hardware/ anew: python hardware/draw/build.py [FOLDER] (default: hardware/ itself).

Writes FOLDER/drawings/*.svg (schemdraw) and FOLDER/harness/*.yml with what WireViz makes of them: .svg, and parts
as .bom.tsv.
"""

import re
import sys
import warnings
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

import schemdraw  # noqa: E402

schemdraw.use("svg")
schemdraw.svgconfig.text = "text"

import box_sheets  # noqa: E402
import harness  # noqa: E402
import kit_sheets  # noqa: E402
import tables  # noqa: E402


def sheets():
    """{file name: drawing}."""
    made = {f"schematic_{variant}.svg": kit_sheets.sheet(variant) for variant in tables.KITS}
    made |= {f"schematic_box_{variant}.svg": box_sheets.sheet(variant) for variant in tables.BOXES}
    return made | {"blocks.svg": box_sheets.blocks()}


def wire(folder):
    """YAML, picture and parts of each harness."""
    warnings.simplefilter("ignore")
    from wireviz import wireviz

    for name, text in harness.files().items():
        (folder / name).write_text(text, "utf-8")
        stem = name.removesuffix(".yml")
        wireviz.parse(text, output_formats=("svg", "tsv"), output_dir=folder, output_name=stem)
        for found in folder.glob(stem + ".*"):
            if found.suffix not in (".yml", ".svg", ".tsv") and not found.name.endswith(".bom.tsv"):
                found.unlink()
        picture = folder / (stem + ".svg")
        # Comments name the version of Graphviz; nothing else there differs from one machine to another.
        plain = re.sub(r"<!--.*?-->\n?", "", picture.read_text("utf-8"), flags=re.DOTALL)
        picture.write_text(plain.rstrip() + "\n", "utf-8")


def build(folder):
    """Write all pictures into `folder`."""
    for name in ("drawings", "harness"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    for name, drawing in sheets().items():
        text = drawing.get_imagedata("svg").decode()
        (folder / "drawings" / name).write_text(text.rstrip() + "\n", "utf-8")
    wire(folder / "harness")


if __name__ == "__main__":
    build(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent)
