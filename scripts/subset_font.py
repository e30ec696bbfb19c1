"""Make the sheet's font for Chinese from the whole one: the characters of GB 2312 and their punctuation.

Run by hand, with fontTools installed: ``python scripts/subset_font.py DroidSansFallbackFull.ttf``.
"""

import sys
from pathlib import Path

from fontTools import subset

TARGET = Path(__file__).parent.parent / "src/heavyspot/sheet/fonts/HanSheet.ttf"


def characters() -> set[int]:
    """Every character of GB 2312, and full-width forms."""
    found = set(range(0x3000, 0x3030)) | set(range(0xFF01, 0xFF5F))
    for row in range(0xA1, 0xF8):
        for cell in range(0xA1, 0xFF):
            try:
                found.add(ord(bytes((row, cell)).decode("gb2312")))
            except UnicodeDecodeError:
                continue
    return found


options = subset.Options(
    hinting=False, layout_features=["*"], name_IDs=[0, 1, 2, 3, 4, 5, 6, 13, 14]
)
font = subset.load_font(sys.argv[1], options)
made = subset.Subsetter(options)
made.populate(unicodes=characters())
made.subset(font)
for record in font["name"].names:
    if record.nameID in (1, 3, 4, 6):
        record.string = "HanSheet" if record.nameID == 6 else "Han Sheet"
subset.save_font(font, str(TARGET), options)
print(TARGET, TARGET.stat().st_size)
