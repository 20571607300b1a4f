"""`fiftyover dashboards`: build the Grafana dashboards anew from their code, or push the built ones to a server."""

from __future__ import annotations

import argparse
import importlib
import json
import sys
import urllib.error
import urllib.request
from pathlib import Path

from ..errors import HubError, SettingsError

SOURCE_TREE = Path(__file__).resolve().parents[3]
PUSH_S = 15.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    works = parser.add_subparsers(dest="work", required=True, metavar="WORK")
    works.add_parser("build", help="make dashboards/built anew (in a source tree, with the extra dashboards)")
    push = works.add_parser("push", help="put the built dashboards into a running Grafana")
    push.add_argument("--url", required=True, help="Grafana's address, like http://127.0.0.1:3000")
    push.add_argument("--token-file", type=Path, required=True, metavar="FILE", help="one line: a service token")


def run(args: argparse.Namespace) -> int:
    """Build or push."""
    return _build() if args.work == "build" else _push(args.url, args.token_file)


def built() -> Path:
    """Where the built dashboards lie: in the source tree, or in the installed package."""
    for folder in (SOURCE_TREE / "dashboards" / "built", Path(__file__).parent / "built"):
        if folder.is_dir():
            return folder
    raise HubError("The built dashboards are not there: install fiftyover again.")


def _build() -> int:
    if not (SOURCE_TREE / "dashboards" / "boards.py").exists():
        raise HubError("Dashboards are built in a source tree; this is an installed fiftyover, which can push them.")
    sys.path.insert(0, str(SOURCE_TREE))
    try:
        names = importlib.import_module("dashboards.boards").write()
    except ImportError as fault:
        raise HubError(f"Building needs a package more ({fault}): pip install 'fiftyover[dashboards]'.") from None
    finally:
        sys.path.remove(str(SOURCE_TREE))
    sys.stdout.write("".join(f"{name}\n" for name in names))
    return 0


def _push(url: str, token_file: Path) -> int:
    if not url.startswith(("http://", "https://")):
        raise SettingsError(f"--url {url} must begin with http:// or https://.")
    try:
        token = token_file.read_text("utf-8").strip()
    except (OSError, UnicodeDecodeError):
        raise SettingsError(f"The token file {token_file} cannot be read: check its path and rights.") from None
    for file in sorted(built().glob("*.json")):
        board = json.loads(file.read_text("utf-8"))
        _post(f"{url.rstrip('/')}/api/dashboards/db", token, {"dashboard": board, "overwrite": True})
        sys.stdout.write(f"{board['title']} is there.\n")
    return 0


def _post(url: str, token: str, data: dict[str, object]) -> None:
    headers = {"Content-Type": "application/json", "Authorization": f"Bearer {token}"}
    request = urllib.request.Request(url, json.dumps(data).encode(), headers)  # noqa: S310 - http or https, see above
    try:
        with urllib.request.urlopen(request, timeout=PUSH_S) as answer:  # noqa: S310
            answer.read()
    except urllib.error.HTTPError as fault:
        why = "the token may not do that" if fault.code in (401, 403) else f"code {fault.code}"
        raise HubError(f"Grafana did not take a dashboard ({why}): check --url and the token file.") from None
    except (OSError, ValueError) as fault:
        raise HubError(f"Grafana cannot be reached ({fault}): check --url.") from None
