"""The terminal screen: a pure board and layout, painted by a thread of its own."""
