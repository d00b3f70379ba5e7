"""Zones by likeness told in figures: the indices of each number of zones, and how it was chosen."""


def index_rows(found, layers):
    """Return a row of figures for each number of zones tried.

    Parameters
        found   AlikeZones
        layers  their GridLayers
    Returns  list of dict; shares of variance between 0 and 1, `gain` over one zone less
    """
    rows, before = [], None
    for tried, gathering in zip(found.found, found.tried):
        row = {"zones": tried.count, "chosen": int(tried.count == found.count),
               "fuzziness_performance_index": tried.fuzziness,
               "classification_entropy": tried.entropy, "explained": tried.explained,
               "within": 1 - tried.explained,
               "gain": None if before is None else tried.explained - before,
               "steps": gathering.steps, "at_rest": int(gathering.at_rest)}
        row |= {f"explained_{layer.name}": float(share)
                for layer, share in zip(layers, tried.by_layer)}
        rows.append(row)
        before = tried.explained
    return rows


def likeness_account(found, layers, settings, figures):
    """Return what was done and found as plain content for JSON.

    Parameters
        found, layers  as of `index_rows`
        settings       dict of the settings used
        figures        LayerFigures of each layer, for the zones as they were made workable
    """
    return {
        "chosen": found.count, "reason": found.reason, "left_out": found.left_out,
        "settings": settings, "indices": index_rows(found, layers),
        "layers": [{"name": layer.name, "unit": layer.unit,
                    "explained_by_classes": float(found.found[
                        found.count - found.found[0].count].by_layer[number]),
                    "explained_by_zones": figure.explained}
                   for number, (layer, figure) in enumerate(zip(layers, figures))],
        "zones": [{"zone": zone.label, "title": zone.title, "area_m2": zone.area_m2,
                   "layers": {layer.name: {
                       "mean": float(figure.mean[zone.label]),
                       "deviation": float(figure.deviation[zone.label]),
                       "error": None if figure.error is None else float(figure.error[zone.label]),
                       "readings": None if figure.readings is None
                       else int(figure.readings[zone.label])}
                       for layer, figure in zip(layers, figures)}}
                  for zone in found.zone_map.zones],
        "note": "Shares explained are of the layers that the zones were made from: they flatter. "
                "A layer that took no part, such as the yield of another year, tells more."}
