"""Compressible flow and the standard atmosphere from fluids and ambiance."""

import fluids
import numpy as np
from ambiance import Atmosphere
from exchange import answer, asked
from fluids.flow_meter import nozzle_expansibility

q = asked()
if q["what"] == "critical":
    answer(
        ratio=[fluids.P_critical_flow(101325.0, k) / 101325.0 for k in q["gamma"]],
        # API 520's constant has the units of its formula in front.
        constant=[fluids.API520_C(k) / 0.03948 for k in q["gamma"]],
    )
elif q["what"] == "flow":
    p0, gas_constant, kelvin = 101325.0, 287.05287, 293.15
    psi = []
    for k, r in zip(q["gamma"], q["ratio"]):
        eps = nozzle_expansibility(D=1e3, Do=1e-3, P1=p0, P2=r * p0, k=k)
        psi.append(eps * np.sqrt(2 * (1 - r)))
    area = 0.25 * np.pi * 1.5e-3**2
    answer(psi=psi, flow=[0.61 * area * p0 / np.sqrt(gas_constant * kelvin) * v for v in psi])
else:
    height = np.array(q["height"])
    air = Atmosphere(height)
    answer(
        geopotential=air.H,
        temperature=air.temperature,
        pressure=air.pressure,
        density=air.density,
        us_pressure=[fluids.ATMOSPHERE_1976(z).P for z in height],
    )
