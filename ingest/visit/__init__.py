"""One visit or pump life as a person enters it in, checked rows in the ledger out."""
