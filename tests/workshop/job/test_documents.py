"""Photos, documents and the origin of parts: kept with the piece, found, backed up, checked, handed on."""

import pytest
from workshop.station.two_houses import TwoHouses

from heavyspot.quantities.errors import BadInput, LedgerFault
from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.job.documents import LARGEST, Part, attach, attached, write_parts
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.job.story import whole_story
from heavyspot.workshop.keep.backup import back_up, restore
from heavyspot.workshop.keep.retention import check_recordings
from heavyspot.workshop.shop import Workshop
from heavyspot.workshop.station.station import exchange

PNG = b"\x89PNG\r\n\x1a\n" + b"x" * 100


@pytest.fixture
def piece(shop):
    add_piece(shop, "P-1", "Larch 52")
    return shop


def test_a_photo_is_kept_found_backed_up_and_checked(piece, tmp_path):
    attach(piece, "P-1", "C:\\photos\\wheel.PNG", PNG, text="nick in the inducer", by="Ida")
    (one,) = attached(piece, "P-1")
    assert one.document.file == "wheel.PNG" and one.by == "Ida" and one.document.bytes == len(PNG)
    assert (piece.book.folder / one.document.kept_as).read_bytes() == PNG
    assert [r.serial for r in piece.book.search.find("nick wheel").rows] == ["P-1"]
    assert whole_story(piece, "P-1")[-1].text == "wheel.PNG: nick in the inducer"
    back_up(piece, tmp_path / "copy")
    restore(tmp_path / "copy", tmp_path / "new")
    back = Workshop(tmp_path / "new")
    assert (back.book.folder / one.document.kept_as).read_bytes() == PNG
    (back.book.folder / one.document.kept_as).write_bytes(PNG + b"!")
    assert [d.words() for d in check_recordings(back)] == [
        f"{one.document.kept_as} was changed after it was written."
    ]
    back.close()


@pytest.mark.parametrize(
    ("name", "content", "why"),
    [
        ("empty.jpg", b"", "0.0 MB"),
        ("big.pdf", b"x" * (LARGEST + 1), "25.0 MB"),
        ("none", b"x", "no ending"),
        ("script.png", b"<script>", "no picture"),
        ("../../x.sh/", b"x", ""),
        ("a.toolong", b"x", "no ending"),
    ],
)
def test_papers_that_are_none(piece, name, content, why):
    if why:
        with pytest.raises(BadInput, match=why):
            attach(piece, "P-1", name, content)
        assert attached(piece, "P-1") == []
    else:
        kept = attach(piece, "P-1", name, content).kept_as
        assert ".." not in kept and (piece.book.folder / kept).exists()
    with pytest.raises(LedgerFault):
        attach(piece, "nobody", "a.txt", b"x")


def test_parts_are_found_by_supplier_and_lot(piece):
    write_parts(
        piece,
        "P-1",
        [Part("turbine shaft", "Gullwick Castings", "L-4711"), Part("", "", "")],
        by="Ida",
    )
    assert whole_story(piece, "P-1")[-1].text == "turbine shaft Gullwick Castings lot L-4711"
    assert [r.serial for r in piece.book.search.find("gullwick l-4711").rows] == ["P-1"]
    for wrong in ([], [Part("", "x", "y")], [Part("x" * 121)], [Part("a")] * 21):
        with pytest.raises(BadInput):
            write_parts(piece, "P-1", wrong)


def test_papers_are_handed_on_to_the_main_house(tmp_path):
    houses = TwoHouses(tmp_path, furnish)
    exchange(houses.east, houses.line)
    add_piece(houses.east, "P-2", "Larch 52")
    attach(houses.east, "P-2", "w.png", PNG)
    done = exchange(houses.east, houses.line)
    assert done.files == 1 and done.missing == []
    (there,) = attached(houses.main, "P-2")
    assert (houses.main.book.folder / there.document.kept_as).read_bytes() == PNG
    houses.close()
