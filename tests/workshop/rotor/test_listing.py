"""A rotor stays in the list of rotors, however many cartridges come after it."""

from heavyspot import add_job, add_rotor, add_rotor_model
from heavyspot.workshop.job.editing import Member
from heavyspot.workshop.rotor.machines import newest_rotors

FAN = {
    "kind": "rotor", "name": "Fan 900", "rotation": "clockwise", "mass_kg": 240.0,
    "service_speed_rpm": 1_480, "support_b_mm": 900.0, "mass_centre_mm": 430.0,
    "rule": "grade", "grade": 6.3,
    "plane": [
        {"name": "left", "at_mm": 150.0, "radius_mm": 400.0, "cutter": "flat", "tool_mm": 6.0},
        {"name": "right", "at_mm": 740.0, "radius_mm": 400.0, "cutter": "flat", "tool_mm": 6.0},
    ],
}  # fmt: skip


def test_a_rotor_is_listed_after_400_newer_cartridges(shop):
    add_rotor_model(shop, FAN)
    add_rotor(shop, "W-1", "Fan 900", customer="Tidal Works")
    later = [Member(f"C-{n}", "Larch 52") for n in range(400)]
    add_job(shop, later, customer="Gull Marine")
    assert [p.serial for p in newest_rotors(shop)] == ["W-1"]
