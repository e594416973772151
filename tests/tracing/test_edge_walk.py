import numpy as np

from sheetstack.geometry.tracing.edge_walk import drawn_to_edge, walked


def disc(radius, middle=(40, 50), size=(80, 100)):
    y, x = np.mgrid[: size[0], : size[1]]
    return np.hypot(y - middle[0], x - middle[1]) < radius


def test_a_rough_outline_is_drawn_to_the_edge():
    true = disc(20)
    rng = np.random.default_rng(3)
    picture = np.where(true[..., None], 0.7, 0.3) + rng.normal(0, 0.02, (*true.shape, 3))
    rough = disc(20, (43, 47))  # off by three pixels each way
    drawn = drawn_to_edge(picture.astype(np.float32), rough, 12)
    assert (rough ^ true).sum() > 150
    assert (drawn ^ true).sum() < 25


def test_far_from_the_outline_nothing_changes():
    picture = np.random.default_rng(0).random((80, 100, 3)).astype(np.float32)
    rough = disc(25)
    drawn = drawn_to_edge(picture, rough, 4)
    assert (drawn == rough)[disc(19)].all()
    assert not drawn[~disc(31)].any()


def test_probabilities_agree_with_scikit_image():
    """``skimage.segmentation.random_walker``, Grady's method by another hand, as reference."""
    from skimage.segmentation import random_walker

    rng = np.random.default_rng(1)
    true = disc(20)
    picture = np.where(true, 0.65, 0.35) + rng.normal(0, 0.05, true.shape)
    labels = np.zeros(true.shape, int)
    labels[disc(12)] = 1
    labels[~disc(28)] = 2
    theirs = random_walker(picture, labels, beta=60, mode="cg_j", return_full_prob=True)[0]
    rgb = np.repeat(picture[..., None], 3, axis=2).astype(np.float32)
    ours = walked(rgb, labels == 1, labels == 2)
    # The two scale colour steps differently, so the halves are compared, not the values.
    assert ((ours > 0.5) ^ (theirs > 0.5)).mean() < 0.005
