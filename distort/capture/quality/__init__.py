"""May this recording be analysed, and may one pack up?"""
