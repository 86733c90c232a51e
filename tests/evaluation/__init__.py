"""How good the forecasts are, on measured and on simulated warm-ups."""
