"""The ledger as it stood on a day in, frames of pumps, visits and work out, on each pump's own clock."""
