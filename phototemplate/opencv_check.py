"""A clear sentence where OpenCV cannot start, which on bare servers is the rule."""

from __future__ import annotations

from phototemplate.errors import InstallationError


def require_opencv() -> None:
    """Import OpenCV.

    Raises ``InstallationError`` naming the system packages where its shared libraries are missing.
    """
    try:
        import cv2  # noqa: F401
    except ImportError as exc:
        if "lib" in str(exc) and ".so" in str(exc):
            raise InstallationError(
                f"OpenCV cannot start ({exc}): install its system libraries "
                "(Debian and Ubuntu: apt-get install libgl1 libglib2.0-0; Fedora: dnf install mesa-libGL glib2), "
                "or replace the package opencv-python by opencv-python-headless."
            ) from exc
        raise InstallationError(f"OpenCV is not installed ({exc}): run pip install opencv-python.") from exc
