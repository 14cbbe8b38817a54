"""The panel: rim, cutouts, reserves, and the zones that ornament may use."""
