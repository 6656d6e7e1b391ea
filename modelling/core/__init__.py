"""The numeric core: arrays in, arrays out. Python, NumPy and SciPy only; no Django, no clock, no hidden randomness."""
