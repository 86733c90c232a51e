"""The pure core: no I/O, no clock, no threads; of libraries only numpy, in the forecast."""
