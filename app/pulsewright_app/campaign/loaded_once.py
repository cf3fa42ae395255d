"""Imported once, by the process that local workers are forked from: they have what it loads from their first moment."""

# ruff: noqa: F401
from __future__ import annotations

import h5py

import pulsewright_analysis.assessment
import pulsewright_analysis.budgets
import pulsewright_analysis.claims
import pulsewright_analysis.sine_kernels
import pulsewright_app.campaign.measuring
import pulsewright_app.campaign.running
import pulsewright_app.inputs
from pulsewright import opening, store
from pulsewright_app.first_use import is_kept, use_once

if is_kept("pulse_kernels", "interpolation_kernels"):
    use_once()
