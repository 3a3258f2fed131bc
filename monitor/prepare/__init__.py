"""Before the film is in: mixing, tempering, forecast, comparing probes, learning lags, the ledger of bottles."""
