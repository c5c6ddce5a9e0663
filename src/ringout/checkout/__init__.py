"""Room 7: the shortest procedure that proves a cell's wiring."""

from ringout.checkout.model import PHASES, Checkout, Kept, Step, Unexposed
from ringout.checkout.plan import plan_checkout

__all__ = ["PHASES", "Checkout", "Kept", "Step", "Unexposed", "plan_checkout"]
