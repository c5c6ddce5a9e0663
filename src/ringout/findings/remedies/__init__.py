"""Remedies: proposals per finding, each applied to a copy of the cell and solved again."""

from ringout.findings.remedies.prove import with_remedies

__all__ = ["with_remedies"]
