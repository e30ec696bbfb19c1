"""Parts that are put together: the assembly against its prediction, and which go with which."""

import pytest
from conftest import polar

from heavyspot.quantities.errors import LedgerFault
from heavyspot.sources.simulated import simulated_recording
from heavyspot.workshop.cartridge.grinding import ground
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.rotor.assembly import compare_assembly
from heavyspot.workshop.rotor.machine_proofs import (
    match,
)
from heavyspot.workshop.rotor.proposal import kept_proposal


def test_an_assembly_is_compared_with_its_prediction(rotors):
    """Five units teach the nut's response; a sixth whose nut carries a known unbalance is read back."""
    from dataclasses import replace

    from heavyspot.sim.cartridge import PLANE_NODES, make_cartridge
    from heavyspot.sim.spin import SpinSettings

    quick = SpinSettings(run_up_s=4.0, coast_s=2.0)
    for n in range(5):
        unit = make_cartridge("Larch 52", 900 + n, peak_g=1.5)
        add_piece(rotors, f"M-{n}", "Larch 52")
        spin(rotors, f"M-{n}", simulated_recording(unit, n, quick), rig="north")
        ground(rotors, f"M-{n}", "nut", 60.0, unbalance_gmm=1.0)
        spin(
            rotors,
            f"M-{n}",
            simulated_recording(unit.ground("nut", 60.0, 1.0), 30 + n, quick),
            rig="north",
        )
    told = match(rotors, {"wheel": [("C1", 1.2, 80)], "nut": [("N1", 0.2, 0)]}, by="Ida")
    promised = told.proposal.assemblies[0]
    unit = make_cartridge("Larch 52", 950)
    node = PLANE_NODES["nut"]
    unbalance = ((node, complex(polar([promised.residual_gmm, promised.angle_deg]))),)
    add_piece(rotors, "M-X", "Larch 52")
    spin(
        rotors,
        "M-X",
        simulated_recording(replace(unit, unbalance=unbalance), 77, quick),
        rig="north",
    )
    seen = compare_assembly(rotors, told.id, 1, "M-X")
    assert seen.seen_gmm == pytest.approx(promised.residual_gmm, rel=0.3)
    assert abs(seen.turned_deg) < 20 and seen.explained > 0.8
    with pytest.raises(LedgerFault, match="no assembly 2"):
        compare_assembly(rotors, told.id, 2, "M-X")
    with pytest.raises(LedgerFault, match="has not been spun"):
        add_piece(rotors, "M-Y", "Larch 52")
        compare_assembly(rotors, told.id, 1, "M-Y")


def test_a_matching_is_kept(rotors):
    kinds = {
        "wheel": [("C1", 0.5, 10), ("C2", 0.2, 90)],
        "shaft and wheel": [("S1", 0.3, 0), ("S2", 0.6, 200)],
        "nut": [("N1", 0.05, 0), ("N2", 0.1, 0)],
    }
    told = match(rotors, kinds, steps_deg={"nut": 60}, by="Ida")
    assert told.proposal.total_gmm < 0.3 * told.proposal.as_they_come_gmm
    assert kept_proposal(rotors, told.id)[1] == told.proposal
    assert rotors.book.rotors.newest_matchings()[0].id == told.id
