"""Tests of the reader."""
