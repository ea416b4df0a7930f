"""Devices whose answer is known without the analysis: from closed forms, or by steady-state measurement."""
