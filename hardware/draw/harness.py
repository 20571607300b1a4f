"""The wiring harness of each kit and box as WireViz YAML, made from the pin map: hardware/harness/<name>.yml."""

# ruff: noqa: E501  one connection a line reads as a table

import tables

COLOURS = {"5V": "RD", "3V3": "OG", "GND": "BK", "AGND": "BK", "VREF": "OG"}
CORES = ["WH", "BN", "GN", "YE", "GY", "PK", "BU", "VT"]


def _connector(kind, labels, notes=""):
    text = f"    type: {kind}\n    pinlabels: [{', '.join(labels)}]\n"
    return text + (f"    notes: {notes}\n" if notes else "")


def _cable(kind, colours, length_m, notes=""):
    text = f"    type: {kind}\n    colors: [{', '.join(colours)}]\n    length: {length_m}\n"
    return text + (f"    notes: {notes}\n" if notes else "")


class Harness:
    """Collects connectors, cables and connections, and writes them as YAML."""

    def __init__(self):
        self.connectors, self.cables, self.connections = {}, {}, []

    def link(self, a, a_pins, cable, b, b_pins):
        """Pins of `a` through all cores of `cable` to pins of `b`."""
        cores = ", ".join(str(number + 1) for number in range(len(a_pins)))
        self.connections.append(
            f"  -\n    - {a}: [{', '.join(a_pins)}]\n    - {cable}: [{cores}]\n    - {b}: [{', '.join(b_pins)}]\n"
        )

    def text(self):
        """The YAML."""
        parts = ["connectors:\n", *(f"  {name}:\n{body}" for name, body in self.connectors.items())]
        parts += ["cables:\n", *(f"  {name}:\n{body}" for name, body in self.cables.items())]
        return "".join([*parts, "connections:\n", *self.connections])


def kit(variant):
    """What leaves the board of one kit: lid, probes, relay box, supply."""
    made = Harness()
    rows = tables.pins(variant)
    made.connectors["U1"] = _connector("board of the kit", [f"{row['net']}_{row['place']}" for row in rows])
    place = {row["net"]: f"{row['net']}_{row['place']}" for row in rows}
    for ref, net, kind in (
        ("S1", "BUTTON", "button"),
        ("LS1", "SOUNDER", "sounder"),
        ("D5", "LAMP", "lamp, behind R42"),
    ):
        made.connectors[ref] = _connector(kind, ["SIG", "GND"])
        made.cables[f"W_{ref}"] = _cable("0.25 mm2", [CORES[len(made.cables)], "BK"], 0.15)
        made.link("U1", [place[net], place["GND"]], f"W_{ref}", ref, ["SIG", "GND"])
    made.connectors["BP1"] = _connector(
        "front end on the board", ["TOP_" + one for one in probes(variant)] + ["BOTTOM"]
    )
    for number, ref in enumerate(probes(variant), 1):
        made.connectors[ref] = _connector("panel socket, 2 poles", ["TOP", "BOTTOM"])
        made.cables[f"W_{ref}"] = _cable("0.25 mm2 twisted", [CORES[(number - 1) % 8], "BK"], 0.15)
        made.link("BP1", ["TOP_" + ref, "BOTTOM"], f"W_{ref}", ref, ["TOP", "BOTTOM"])
        made.connectors[f"P{number}"] = _connector("probe with plug", ["TOP", "BOTTOM"])
        made.cables[f"W_P{number}"] = _cable("PTFE or silicone, 200 °C", ["WH", "WH"], 2)
        made.link(ref, ["TOP", "BOTTOM"], f"W_P{number}", f"P{number}", ["TOP", "BOTTOM"])
    _supply(made, variant, place)
    return made.text()


def probes(variant):
    """Sockets of a kit: J1, J2, ..."""
    return tables.expand(next(row["ref"] for row in tables.parts(variant) if row["ref"].startswith("J1-")))


def _supply(made, variant, place):
    made.connectors["PB1"] = _connector("5 V over USB", ["USB"])
    made.connectors["USB"] = _connector("USB socket of U1", ["USB"])
    made.cables["W_USB"] = _cable("USB cable", ["BK"], 1)
    made.link("PB1", ["USB"], "W_USB", "USB", ["USB"])
    if variant == "fridge":
        return
    made.connectors["Q1_Q2"] = _connector("drivers on BP1", ["K1_COIL", "K2_COIL"])
    made.connectors["J10"] = _connector("panel socket, 4 poles", ["5V", "K1_COIL", "K2_COIL", "GND"])
    made.cables["W_J10"] = _cable("0.5 mm2", ["RD", "BK"], 0.15)
    made.cables["W_J10B"] = _cable("0.5 mm2", ["WH", "BN"], 0.15)
    made.link("U1", [place["5V"], place["GND"]], "W_J10", "J10", ["5V", "GND"])
    made.link("Q1_Q2", ["K1_COIL", "K2_COIL"], "W_J10B", "J10", ["K1_COIL", "K2_COIL"])
    made.connectors["J20"] = _connector("panel socket of the relay box", ["5V", "K1_COIL", "K2_COIL", "GND"])
    made.cables["W10"] = _cable("0.5 mm2, outdoor", ["RD", "WH", "BN", "BK"], 2)
    four = ["5V", "K1_COIL", "K2_COIL", "GND"]
    made.link("J10", four, "W10", "J20", four)


def box(variant):
    """Inside one relay box. Colours of mains cores are those of the local code: none are given."""
    made = Harness()
    coil = "IN" if variant == "ssr" else "COIL"
    ends = {
        "GF1": ["L", "N", "PE"], "F1": ["1", "2"], "TC1": ["1", "2"], "TF1": ["1", "2"], "W2": ["L", "N", "PE"], "E1": ["PE"],
        "K1": ["1", "2", coil + "_PLUS", coil + "_MINUS"], "K2": ["1", "2", "3", "4", "COIL_PLUS", "COIL_MINUS"],
        "J20": ["5V", "K1_COIL", "K2_COIL", "GND"],
    }  # fmt: skip
    for ref, labels in ends.items():
        made.connectors[ref] = _connector(
            next(r["part"] for r in tables.parts(variant) if r["ref"] == ref), [f'"{x}"' for x in labels]
        )
    mains = "14 AWG (2.5 mm2)"
    steps = [
        ("W1", "GF1", "L", "F1", "1", mains), ("W_F1", "F1", "2", "TC1", "1", mains), ("W3", "TC1", "2", "K2", "1", "200 °C wire"),
        ("W_K2", "K2", "2", "K1", "1", mains), ("W_K1", "K1", "2", "TF1", "1", mains), ("W3B", "TF1", "2", "W2", "L", "200 °C wire"),
        ("W1N", "GF1", "N", "K2", "3", mains), ("W_N", "K2", "4", "W2", "N", mains),
        ("W1E", "GF1", "PE", "E1", "PE", mains), ("W_E", "E1", "PE", "W2", "PE", mains),
        ("W_5A", "J20", "5V", "K1", coil + "_PLUS", "0.5 mm2"), ("W_5B", "J20", "5V", "K2", "COIL_PLUS", "0.5 mm2"),
        ("W_C1", "J20", "K1_COIL", "K1", coil + "_MINUS", "0.5 mm2"), ("W_C2", "J20", "K2_COIL", "K2", "COIL_MINUS", "0.5 mm2"),
    ]  # fmt: skip
    for cable, a, a_pin, b, b_pin, kind in steps:
        made.cables[cable] = f"    type: {kind}\n    wirecount: 1\n    length: 0.3\n"
        made.link(a, [f'"{a_pin}"'], cable, b, [f'"{b_pin}"'])
    return made.text()


def files():
    """{file name: YAML}."""
    made = {f"{variant}.yml": kit(variant) for variant in tables.KITS}
    return made | {f"box_{variant}.yml": box(variant) for variant in tables.BOXES}
