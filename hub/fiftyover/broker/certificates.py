"""A private certificate authority and the broker's certificate, made with the openssl command.

The certificates are valid from the year 2000 on: a kit has no wall clock, its board starts in 2000 or 2021, and it
would refuse a certificate that is not valid yet.
"""

from __future__ import annotations

import ipaddress
import shutil
import subprocess
import tempfile
from pathlib import Path

from ..errors import BrokerError

CA = "ca.crt"
CA_KEY = "ca.key"
SERVER = "server.crt"
SERVER_KEY = "server.key"
FROM = "20000101000000Z"
UNTIL = "20491231235959Z"  # the last year that a certificate writes with two digits: oldest TLS stacks read it right
CURVE = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"]

CONFIGURATION = """
[req]
distinguished_name = any
prompt = no
[any]
CN = unused
[ca]
default_ca = here
[here]
new_certs_dir = .
database = index.txt
rand_serial = yes
default_md = sha256
policy = named
unique_subject = no
email_in_dn = no
[named]
commonName = supplied
[authority]
basicConstraints = critical, CA:TRUE, pathlen:0
keyUsage = critical, keyCertSign, cRLSign
subjectKeyIdentifier = hash
[server]
basicConstraints = critical, CA:FALSE
keyUsage = critical, digitalSignature
extendedKeyUsage = serverAuth
subjectKeyIdentifier = hash
authorityKeyIdentifier = keyid
subjectAltName = {names}
"""


def make(folder: Path, names: list[str]) -> list[str]:
    """Make what is missing in `folder`: the authority, and a certificate for the host names and addresses given.

    Gives the files made. What exists is never overwritten: remove the server's two files to have them made anew.
    BrokerError if openssl is missing or refuses.
    """
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    _refuse_halves(folder)
    made: list[str] = []
    with tempfile.TemporaryDirectory(dir=folder) as place:
        work = Path(place)
        if not (folder / CA).exists():
            made += _authority(work, folder)
        if not (folder / SERVER).exists():
            made += _server(work, folder, names)
    return made


def _refuse_halves(folder: Path) -> None:
    for certificate, key in ((CA, CA_KEY), (SERVER, SERVER_KEY)):
        if (folder / certificate).exists() != (folder / key).exists():
            lone = certificate if (folder / certificate).exists() else key
            raise BrokerError(f"{folder / lone} lies there without its other half; remove it and run setup again")


def _authority(work: Path, folder: Path) -> list[str]:
    _configure(work, "DNS:unused")
    _openssl(work, "req", "-new", "-config", "conf", *CURVE, "-keyout", CA_KEY, "-out", "ca.csr", *_called("fiftyover"))
    _sign(work, "ca.csr", CA, "authority", "-selfsign", "-keyfile", CA_KEY)
    return _keep(work, folder, CA, CA_KEY)


def _server(work: Path, folder: Path, names: list[str]) -> list[str]:
    _configure(work, ", ".join(_alternative(one) for one in names))
    _openssl(
        work, "req", "-new", "-config", "conf", *CURVE, "-keyout", SERVER_KEY, "-out", "it.csr", *_called(names[0])
    )
    _sign(work, "it.csr", SERVER, "server", "-cert", str(folder / CA), "-keyfile", str(folder / CA_KEY))
    return _keep(work, folder, SERVER, SERVER_KEY)


def _configure(work: Path, names: str) -> None:
    (work / "conf").write_text(CONFIGURATION.replace("{names}", names))
    (work / "index.txt").write_text("")


def _called(name: str) -> list[str]:
    return ["-subj", f"/CN={name}"]


def _alternative(name: str) -> str:
    try:
        return f"IP:{ipaddress.ip_address(name)}"
    except ValueError:
        pass
    if not name or not all(part and part.replace("-", "a").isalnum() and part.isascii() for part in name.split(".")):
        raise BrokerError(f"{name!r} is no host name or address; give one such as smoker.local or 192.168.1.20")
    return f"DNS:{name}"


def _sign(work: Path, request: str, out: str, extensions: str, *how: str) -> None:
    dates = ["-startdate", FROM, "-enddate", UNTIL]
    named = ["-config", "conf", "-extensions", extensions, "-in", request, "-out", out]
    _openssl(work, "ca", "-batch", "-notext", *named, *dates, *how)


def _keep(work: Path, folder: Path, certificate: str, key: str) -> list[str]:
    """Move both where they belong, the key first: a certificate without its key would be told as a lone half."""
    for name in (key, certificate):
        (work / name).chmod(0o600)
        (work / name).replace(folder / name)
    return [certificate, key]


def _openssl(work: Path, *arguments: str) -> None:
    program = shutil.which("openssl")
    if program is None:
        raise BrokerError("the openssl command is missing; install the package openssl and run setup again")
    done = subprocess.run(  # noqa: S603 - a fixed command, its words made here
        [program, *arguments], cwd=work, capture_output=True, text=True, check=False, umask=0o077, timeout=60
    )
    if done.returncode:
        last = (done.stderr.strip().splitlines() or ["no word"])[-1]
        raise BrokerError(f"openssl could not make the broker's certificate: {last}")
