"""Pieces that several pages or commands share: forms, the risk list, the reading panel."""
