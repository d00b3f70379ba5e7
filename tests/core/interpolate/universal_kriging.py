"""Universal kriging from its definition, by dense algebra: a reference that shares no line of code.

The weights solve the bordered system of Lagrange multipliers; the errors of several targets then
go together as weighted sums of readings and targets do. The mean cancels, as the weights reproduce
every figure of the drift.
"""
import numpy as np


def weights_of(model, sites, errors, targets, drift):
    """Return the (n, m) weights of readings on targets; drift is a pair, (n, p) and (m, p)."""
    at_sites, at_targets = (np.column_stack([np.ones(len(part)), part]) for part in drift)
    count, figures = at_sites.shape
    system = np.zeros((count + figures, count + figures))
    system[:count, :count] = structure(model, sites, sites) + np.diag(model.nugget + errors)
    system[:count, count:], system[count:, :count] = at_sites, at_sites.T
    right = np.vstack([structure(model, sites, targets), at_targets.T])
    return np.linalg.solve(system, right)[:count]


def errors_together(model, sites, errors, targets, drift):
    """Return the (m, m) covariance of the errors, the nugget of the targets not in it."""
    weights = weights_of(model, sites, errors, targets, drift)
    points = np.vstack([targets, sites])
    own = np.concatenate([np.zeros(len(targets)), model.nugget + errors])
    sums = np.vstack([np.eye(len(targets)), -weights])
    return sums.T @ (structure(model, points, points) + np.diag(own)) @ sums


def structure(model, places, others):
    """Covariance of the structured part between places, (a, b)."""
    places, others = model.stretched(places), model.stretched(others)
    return model.covariance(np.linalg.norm(places[:, None] - others, axis=-1))
