"""Which bytes behave like the temperature of this fluid."""
