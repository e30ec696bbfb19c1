"""Compute the reference response of a rotor with ross-rotordynamics (its own environment).

    python -m venv ross-env && ross-env/bin/pip install ross-rotordynamics "plotly<7"
    ross-env/bin/python validation/ross_rotor.py tests/reference/ross_rotor.json

The same rotor as `tests/sim/test_rotor.py` builds with our own elements: eight beam elements, three
discs, two bearings, each on its own support mass on a spring (three degrees of freedom a node).
"""

import json
import sys
import warnings
from pathlib import Path

import numpy as np

warnings.simplefilter("ignore")
import ross as rs  # noqa: E402  # after the filter: it warns on import

SHAFT = [(8, 7.0), (14, 7.5), (10, 11.0), (10, 9.0), (15, 9.5), (15, 9.5), (12, 14.0), (8, 16.0)]
DISCS = [(0, 0.004, 2e-8, 4e-8), (2, 0.070, 6.7e-6, 8.4e-6), (8, 0.125, 8.7e-6, 1.17e-5)]
BEARINGS = [(4, 4.0e6, 420.0), (6, 4.4e6, 380.0)]
SUPPORTS = [(9, 1.9, 4.5e5, 135.0), (10, 1.6, 4.5e5, 135.0)]
SPEEDS_RPM = [10_000, 25_000, 40_000, 60_000, 80_000, 100_000, 125_000, 150_000]
UNBALANCE_NODES = [0, 3, 7]

steel = rs.Material("Steel", rho=7850, E=2.05e11, Poisson=0.3)
shaft = [
    rs.ShaftElement(
        L=n * 1e-3,
        idl=0.0,
        odl=d * 1e-3,
        material=steel,
        n=i,
        shear_effects=True,
        rotary_inertia=True,
        gyroscopic=True,
        shear_method_calc="cowper",
    )
    for i, (n, d) in enumerate(SHAFT)
]
discs = [rs.DiskElement(n=n, m=m, Id=a, Ip=p) for n, m, a, p in DISCS]
bearings = [
    rs.BearingElement(n=n, kxx=k, cxx=c, n_link=s[0])
    for (n, k, c), s in zip(BEARINGS, SUPPORTS, strict=True)
]
grounds = [rs.BearingElement(n=n, kxx=k, cxx=c) for n, _, k, c in SUPPORTS]
masses = [rs.PointMass(n=n, m=m) for n, m, _, _ in SUPPORTS]
rotor = rs.Rotor(shaft, discs, bearings + grounds, masses)
omega = np.array(SPEEDS_RPM) * np.pi / 30
out = {
    "source": f"ross-rotordynamics {rs.__version__}",
    "speeds_rpm": SPEEDS_RPM,
    "shaft_mm": SHAFT,
    "discs": DISCS,
    "bearings": BEARINGS,
    "supports": SUPPORTS,
    "responses": {},
}
for node in UNBALANCE_NODES:
    result = rotor.run_unbalance_response([node], [1e-6], [0.0], omega)
    found = result.forced_resp
    row = {}
    for name, dof in [
        ("shaft_0", 0),
        ("shaft_2", 12),
        ("shaft_8", 48),
        ("support_9", 54),
        ("support_10", 57),
    ]:
        z = found[dof]
        row[name] = [[float(v.real), float(v.imag)] for v in z]
    out["responses"][str(node)] = row
Path(sys.argv[1]).write_text(json.dumps(out, indent=1) + "\n")
