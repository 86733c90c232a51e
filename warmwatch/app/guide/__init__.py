"""The guided start: questions from "adapter plugged in" to "watch running"."""
