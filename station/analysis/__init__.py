"""Pure analysis: captures and indications in, measurements with uncertainty out."""
