"""A wheel and a fan, and a machine that hardly errs."""

from typing import Any

from heavyspot.sim.supports import LooseRotor, MachineSettings

WHEEL: dict[str, Any] = {
    "kind": "rotor", "name": "Larch 52 shaft and wheel", "rotation": "clockwise", "mass_kg": 0.35,
    "service_speed_rpm": 150_000, "measuring_speed_rpm": 2_400, "support_b_mm": 60.0,
    "mass_centre_mm": 12.0, "rule": "grade", "grade": 6.3,
    "plane": [
        {"name": "hub", "at_mm": -14.0, "radius_mm": 10.0, "cutter": "scallop", "tool_mm": 8.0,
         "width_mm": 3.0, "material": "inconel 713c", "max_depth_mm": 1.5},
        {"name": "shoulder", "at_mm": 30.0, "radius_mm": 8.0, "cutter": "flat", "width_mm": 4.0,
         "max_depth_mm": 0.5},
    ],
}  # fmt: skip
FAN: dict[str, Any] = {
    "kind": "rotor", "name": "Fan 900", "rotation": "clockwise", "mass_kg": 240.0,
    "service_speed_rpm": 1_480, "support_b_mm": 900.0, "mass_centre_mm": 430.0,
    "rule": "grade", "grade": 6.3,
    "plane": [
        {"name": "left", "at_mm": 150.0, "radius_mm": 400.0, "way": "add", "places": 8,
         "masses_g": [5.0, 10.0, 20.0], "stock": [6, 6, 6]},
        {"name": "right", "at_mm": 740.0, "radius_mm": 400.0, "way": "add", "places": 12,
         "first_place_deg": 15.0},
    ],
}  # fmt: skip


def wheel(u_hub, u_shoulder):
    return LooseRotor(0.35, (0.0, 60.0), ((-14.0, complex(u_hub)), (30.0, complex(u_shoulder))))


QUIET = MachineSettings(speed_rpm=2_400, noise_n=0.002, repeat_share=0.0)
