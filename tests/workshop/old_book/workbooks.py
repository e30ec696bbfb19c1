"""Workbooks made by hand, so that they may hold what no spreadsheet writes."""

import zipfile

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"
REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"


def sheet_with(doctype, customer):
    """One sheet with one row: a serial and a customer as given, after a document type as given."""
    rows = [["Serial", "Customer"], ["S-1", customer]]
    cells = "".join(
        f'<row r="{r}">'
        + "".join(
            f'<c r="{"AB"[c]}{r}" t="inlineStr"><is><t>{text}</t></is></c>'
            for c, text in enumerate(row)
        )
        + "</row>"
        for r, row in enumerate(rows, start=1)
    )
    return f'<?xml version="1.0"?>{doctype}<worksheet xmlns="{MAIN}"><sheetData>{cells}</sheetData></worksheet>'


def relation(kind, target):
    """A relationship file with one relationship."""
    return (
        f'<Relationships xmlns="{PACKAGE}/relationships">'
        f'<Relationship Id="r1" Type="{REL}/{kind}" Target="{target}"/></Relationships>'
    )


def xlsx_with(path, sheet, more=()):
    """Write a workbook of one sheet, with more files in it as given."""
    types = (
        f'<Types xmlns="{PACKAGE}/content-types"><Default Extension="xml" ContentType="application/xml"/>'
        '<Default Extension="rels"'
        ' ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{WORKBOOK}"/></Types>'
    )
    book = (
        f'<workbook xmlns="{MAIN}" xmlns:r="{REL}">'
        '<sheets><sheet name="S" sheetId="1" r:id="r1"/></sheets></workbook>'
    )
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as z:
        z.writestr("[Content_Types].xml", types)
        z.writestr("_rels/.rels", relation("officeDocument", "xl/workbook.xml"))
        z.writestr("xl/workbook.xml", book)
        z.writestr("xl/_rels/workbook.xml.rels", relation("worksheet", "worksheets/sheet1.xml"))
        z.writestr("xl/worksheets/sheet1.xml", sheet)
        for name, content in more:
            z.writestr(name, content)
    return path
