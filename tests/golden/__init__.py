"""What every method makes of fixed input, kept with the method's version: figures change only with it."""
