"""A fit and the past in, every pump's risk, life left and reason out."""
