"""Room: the numeric core; it knows arrays only, nothing of cells."""

from ringout.solve.adjoint import adjoint_v, driving_point_ohm
from ringout.solve.bounds import Bound, worst_case
from ringout.solve.discrete import Device, Settled, settle, settle_all
from ringout.solve.engines import Reference, Solve, engine_for, fast_engine, is_worth_it
from ringout.solve.newton import (
    CERTIFICATE_A,
    LEAK_S,
    Solution,
    plan_of,
    solve_cases,
)

__all__ = [
    "CERTIFICATE_A",
    "LEAK_S",
    "Bound",
    "Device",
    "Reference",
    "Settled",
    "Solution",
    "Solve",
    "adjoint_v",
    "driving_point_ohm",
    "engine_for",
    "fast_engine",
    "is_worth_it",
    "plan_of",
    "settle",
    "settle_all",
    "solve_cases",
    "worst_case",
]
