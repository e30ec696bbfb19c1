"""All cuts of a press are recorded, also two in one plane; said twice, recorded once."""

from workshop.entries import CUT, run_of

from heavyspot import add_piece, cartridge_story, ground_as_advised
from heavyspot.ledger.records import Learnt


def test_two_cuts_in_one_plane_are_both_recorded_once(shop):
    piece_id = add_piece(shop, "T-1", "Larch 52")
    other = {**CUT, "angle_deg": 190.0, "depth_mm": 0.05}
    shop.book.cartridges.add_run(run_of(piece_id, cuts=[CUT, other]), b"", [], Learnt())
    done = ground_as_advised(shop, "T-1", by="Ida")
    again = ground_as_advised(shop, "T-1", by="Jon")
    stored = cartridge_story(shop, "T-1").made
    assert [(c.plane, c.angle_deg) for c in stored] == [("nut", 10.0), ("nut", 190.0)]
    assert [c.id for c in done.made] == [c.id for c in again.made] == [c.id for c in stored]
    assert {c.by for c in stored} == {"Ida"}
