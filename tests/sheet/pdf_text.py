"""What a PDF says, as another program reads it."""

import shutil
import subprocess

from conftest import needs


def text_of(pdf, tmp_path):
    needs(shutil.which("pdftotext"), "poppler-utils")
    path = tmp_path / "x.pdf"
    path.write_bytes(pdf)
    return subprocess.run(
        ["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True
    ).stdout
