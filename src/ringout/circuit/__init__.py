"""Room: circuit. The cell as a network of two-terminal elements with their curves.

The names are taken from the modules themselves: `circuit.curves`, `circuit.network`,
`circuit.spice`, `circuit.compile`, so that the numeric core loads nothing of cells.
"""
