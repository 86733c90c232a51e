"""The recording: an append-only CSV with a digest chain, and its sidecar."""
