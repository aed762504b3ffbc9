"""A small cast that the scene tests share."""

import pytest


@pytest.fixture(scope="session")
def people():
    pytest.importorskip("torch", reason="bodies are made with PyTorch: pip install .[training]")
    pytest.importorskip("anny", reason="bodies are made with Anny: pip install .[training]")
    from models.training.scenes.body import cast

    return cast(6, seed=0)
