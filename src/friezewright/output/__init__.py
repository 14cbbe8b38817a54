"""Values to bytes: the layered drawing, the picture and the ticket."""
