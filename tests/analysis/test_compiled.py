"""Whether compiled code is kept from an earlier start."""

from pulsewright_analysis.compiled import is_compiled


def test_compiled_code_is_looked_for_where_it_is_kept(tmp_path, monkeypatch):
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    assert not is_compiled("pulse_kernels")
    folder = tmp_path / "pulsewright_analysis_1"
    folder.mkdir()
    (folder / "pulse_kernels.measure_block-1.py311.nbi").touch()
    assert is_compiled("pulse_kernels")
    assert not is_compiled("sine_kernels")
