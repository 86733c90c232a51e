"""What a person reads or hears, made from codes and figures."""
