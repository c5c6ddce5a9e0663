"""Bleeder resistors that keep leakage from looking like a signal."""

from __future__ import annotations

from ringout.tables.reader import find_row


def bleeder_by_current_ohm(leak_a: float, off_a: float, input_ohm: float) -> float | None:
    """Return the largest bleeder across an input that leaves it at most its off current.

    Args:
        leak_a: leakage of the open switch.
        off_a: current at which the input is surely off.
        input_ohm: impedance of the input.

    Returns:
        Ohms, or None when the input stands the leakage without one.

    Source:
        we-01, we-03, we-08
    """
    if leak_a <= off_a:
        return None
    return off_a / (leak_a - off_a) * input_ohm


def bleeder_by_voltage_ohm(leak_a: float, off_v: float, input_ohm: float) -> float | None:
    """Return the largest bleeder across an input that leaves it at most its off voltage.

    Args:
        leak_a: leakage of the open switch or output.
        off_v: voltage at which the input is surely off.
        input_ohm: impedance of the input.

    Returns:
        Ohms, or None when the input stands the leakage without one.

    Source:
        we-05, we-06, we-09
    """
    return bleeder_by_current_ohm(leak_a, off_v / input_ohm, input_ohm)


def bleeder_by_parallel_ohm(
    parallel_ohm: float, tolerated_ohm: float, input_ohm: float
) -> float | None:
    """Return the largest bleeder when a resistance lies across the open contact.

    Args:
        parallel_ohm: resistance across the contact.
        tolerated_ohm: resistance the input stands without help.
        input_ohm: impedance of the input.

    Returns:
        Ohms, or None when none is needed.

    Source:
        we-08
    """
    if parallel_ohm >= tolerated_ohm:
        return None
    return input_ohm * parallel_ohm / (tolerated_ohm - parallel_ohm)


def parallel_ohm(first_ohm: float, second_ohm: float) -> float:
    """Return two resistances in parallel."""
    return first_ohm * second_ohm / (first_ohm + second_ohm)


def off_voltage_v(leak_a: float, input_ohm: float, bleeder_ohm: float | None = None) -> float:
    """Return the voltage a leakage leaves on an input, with or without bleeder.

    Args:
        leak_a: leakage.
        input_ohm: impedance of the input or load.
        bleeder_ohm: resistor across it, None for none.

    Returns:
        Volts.

    Source:
        we-01, we-09
    """
    if bleeder_ohm is None:
        return leak_a * input_ohm
    return leak_a * parallel_ohm(input_ohm, bleeder_ohm)


def power_w(supply_v: float, r_ohm: float) -> float:
    """Return the heat in a resistor while the signal is on (we-01, we-47)."""
    return supply_v**2 / r_ohm


def largest_glow_ohm(leak_a: float, lamp_v: float) -> float:
    """Return the largest resistor across a lamp that keeps leakage below a voltage.

    Args:
        leak_a: leakage of the output.
        lamp_v: voltage below which the lamp stays dark.

    Returns:
        Ohms; the lamp itself is taken to draw nothing, which is the cautious side.

    Source:
        sizing-guide
    """
    return lamp_v / leak_a


def usual_cure_ohm() -> tuple[float, float]:
    """Return the range of resistors usually put across a glowing LED lamp (sizing-guide)."""
    row = find_row("glow", kind="led-lamp")
    return row.number("cure_min_ohm"), row.number("cure_max_ohm")
