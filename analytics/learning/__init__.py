"""A fleet's past in, its constants (wear, drag, failure levels, drift) out, stored as a dated fit."""
