"""From a picture to a motif: grey levels, tracing, refinement, and the library of shipped motifs."""
