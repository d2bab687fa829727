"""A pump's captures in order come in, a row for each goes out: in this process, in many, or on a cluster."""
