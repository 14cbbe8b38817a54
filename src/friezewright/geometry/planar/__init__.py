"""The one door to the planar engine: regions, overlay and nearness. Nothing else in the program imports shapely."""
