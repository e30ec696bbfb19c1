"""Make the sheet's Latin fonts, which typst reads as TTF, from the web fonts of the same families.

Run by hand, with fontTools and brotli installed: ``python scripts/sheet_fonts.py FOLDER``, where the folder
holds the files named below. They are renamed because they were changed, as their licence asks.
"""

import sys
from pathlib import Path

from fontTools import subset
from fontTools.merge import Merger, Options
from fontTools.ttLib import TTFont

TARGET = Path(__file__).parent.parent / "src/heavyspot/sheet/fonts"
FAMILIES = {"ibm-plex-sans-condensed": "Sheet Sans", "source-serif-4": "Sheet Serif"}
WEIGHTS = {"400": "Regular", "600": "SemiBold"}

for source, family in FAMILIES.items():
    for weight, style in WEIGHTS.items():
        parts = []
        for alphabet in ("latin", "latin-ext"):
            path = Path(sys.argv[1]) / f"{source}-{alphabet}-{weight}-normal.woff2"
            font = TTFont(path)
            font.flavor = None
            font.save(plain := TARGET / f"{alphabet}.part")
            parts.append(plain)
        made = Merger(Options(drop_tables=["STAT", "BASE", "fpgm", "prep", "cvt ", "gasp"])).merge(
            [str(p) for p in parts]
        )
        for p in parts:
            p.unlink()
        made["OS/2"].usWeightClass = int(weight)
        made["OS/2"].fsSelection = made["OS/2"].fsSelection & ~0x21 | 0x40
        made["head"].macStyle = 0
        short = family.replace(" ", "") + "-" + style
        names = {
            1: f"{family} {style}",
            2: "Regular",
            3: short,
            4: f"{family} {style}",
            6: short,
            16: family,
            17: style,
        }
        table = made["name"]
        table.names = [r for r in table.names if r.nameID in (0, 13, 14)]
        for number, text in names.items():
            table.setName(text, number, 3, 1, 0x409)
        options = subset.Options(
            hinting=False, layout_features=["*"], name_IDs=["*"], drop_tables=[]
        )
        worker = subset.Subsetter(options)
        worker.populate(unicodes=made.getBestCmap().keys())
        worker.subset(made)
        made.save(TARGET / f"{short}.ttf")
        print(short, len(made.getBestCmap()), (TARGET / f"{short}.ttf").stat().st_size)
