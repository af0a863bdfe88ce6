"""Exact inference on discrete factors: triangulation, junction tree, propagation of many evidence sets at once."""
