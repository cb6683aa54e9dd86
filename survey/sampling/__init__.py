"""Surveying a part to speak of the whole: designs, estimates, intervals, and how far surveyors agree."""
