"""Every threshold of the analysis, one frozen group per stage: default, unit and reason, once.

("Settings" always means the settings of the station's own switch, never these.)
"""
