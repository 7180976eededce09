"""What ``results`` decides by itself: a camera profile that the photos contradict is dropped."""

from __future__ import annotations

import pytest

from phototemplate import results
from phototemplate.camera_profiles import load_profiles
from phototemplate.demo import DEMO_FOLDER
from phototemplate.job import load_job
from phototemplate.numerics.lens import LENS_MODELS
from phototemplate.stage_inputs import read_photos

pytestmark = pytest.mark.skipif(not (DEMO_FOLDER / "photos").is_dir(), reason="the demo photos come with the checkout")


@pytest.mark.slow
def test_a_profile_six_per_cent_off_is_dropped_and_said_so(monkeypatch: pytest.MonkeyPatch) -> None:
    job = load_job(DEMO_FOLDER)
    job = type(job)(job.folder, job.file.model_copy(update={"edges": [], "loops": [], "pieces": []}), job.revision)
    photos, _ = read_photos(job)
    profile = next(p for p in load_profiles() if p.model == photos[0].model)
    names = LENS_MODELS[profile.lens_model].names
    wrong = profile.model_copy(update={"parameters": {**profile.parameters, "f": profile.parameters["f"] * 1.06}})
    monkeypatch.setattr(results, "load_profiles", lambda: [wrong])
    got = results.measure_job(job)
    said = [f for f in got.findings if f.code == "profile-dropped"]
    assert said
    assert said[0].facts["found_px"] == pytest.approx(profile.parameters["f"], rel=0.01)
    camera = next(iter(got.network.cameras.values()))
    assert camera.params[names.index("f")] == pytest.approx(profile.parameters["f"], rel=0.01)
