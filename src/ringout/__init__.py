"""Prove the wiring of 24 V field devices to a robot controller's inputs and outputs."""

__version__ = "0.1.0"
__all__ = ["__version__"]
