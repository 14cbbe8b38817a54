"""What the machine does with the ornament: engraved, scored and cut layers in run order."""
