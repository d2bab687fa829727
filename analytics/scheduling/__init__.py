"""Ranked pumps, stops, bays and parts in, dated jobs out, with what people decided."""
