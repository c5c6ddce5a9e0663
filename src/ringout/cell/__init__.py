"""Room: cell."""
