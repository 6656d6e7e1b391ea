"""One summer's survey judged: one quantity to a file; plain values and arrays in, arrays and frozen values out."""
