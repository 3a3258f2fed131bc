"""Certificates for tests, made by the `openssl` program: an authority, and what it signs, good, expired and for another name."""

from __future__ import annotations

import subprocess
from pathlib import Path

NEW_KEY = "-newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes"
AUTHORITY_CNF = """
[ca]
default_ca = ours
[ours]
dir = .
database = index.txt
new_certs_dir = .
serial = serial
default_md = sha256
policy = any
copy_extensions = copy
[any]
commonName = supplied
"""


def authority(folder: Path, name: str = "ca") -> None:
    """`NAME.crt` and `NAME.key`: an authority of our own."""
    folder.mkdir(exist_ok=True)
    _openssl(
        folder,
        *["req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "30"],
        "-subj",
        f"/CN={name}",
        "-keyout",
        f"{name}.key",
        "-out",
        f"{name}.crt",
    )


def signed(folder: Path, name: str, alternative: str, begin: str = "20200101000000Z", end: str = "20400101000000Z", ca: str = "ca") -> None:
    """`NAME.crt` and `NAME.key`, signed by the authority for this name ("IP:127.0.0.1", "DNS:broker.lan")."""
    (folder / "ca.cnf").write_text(AUTHORITY_CNF, encoding="ascii")
    (folder / "index.txt").write_text("", encoding="ascii")
    (folder / "serial").write_text("01\n", encoding="ascii")
    subject = ("-subj", f"/CN={name}", "-addext", f"subjectAltName={alternative}")
    _openssl(folder, *["req", "-newkey", "rsa:2048", "-nodes"], *subject, "-keyout", f"{name}.key", "-out", f"{name}.csr")
    span = ("-startdate", begin, "-enddate", end)
    own = ("-cert", f"{ca}.crt", "-keyfile", f"{ca}.key", "-in", f"{name}.csr", "-out", f"{name}.crt")
    _openssl(folder, *["ca", "-batch", "-notext", "-config", "ca.cnf"], *own, *span)


def _openssl(folder: Path, *words: str) -> None:
    subprocess.run(["openssl", *words], cwd=folder, check=True, capture_output=True)
