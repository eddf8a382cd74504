"""What can go wrong with a survey through no fault of the program."""


class SurveyError(Exception):
    """A survey that cannot be run, or go on: in words for users, saying what would be right."""
