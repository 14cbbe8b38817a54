"""A second opinion on a written drawing, by code that shares nothing with what wrote it."""
