"""Models of engine, turbocharger and air: SI, absolute pressures, kelvin; numpy and scipy only."""
