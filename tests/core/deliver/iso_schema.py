"""Facts of the task file schemas 3.3 and 4.3 (2013-03-25, 2018-06-04) for the elements we write.

Written down from the schemas, which are not shipped; attributes: (required, rule).
"""
import re

NAME = ("name", 32)
ID = {tag: ("pattern", rf"{tag}-?[0-9]+") for tag in ("CTR", "FRM", "PFD", "TSK", "VPN", "PDT")}
CODE = ("whole", 0, 254)
UNSIGNED = ("whole", 0, 2**32 - 1)
INT32 = ("whole", -2**31, 2**31 - 1)


def kinds(*numbers):
    return ("one of", {str(number) for number in numbers})


def rules(version):
    """Return {tag: {attribute: (required, rule)}} of a version."""
    new = version.startswith("4")
    degrees = ("decimal", 9 if new else None)
    return {
        "ISO11783_TaskData": {
            "VersionMajor": (True, kinds(version[0])),
            "VersionMinor": (True, kinds(*range(4)) if new else kinds(3)),
            "ManagementSoftwareManufacturer": (True, NAME),
            "ManagementSoftwareVersion": (True, NAME), "DataTransferOrigin": (True, kinds(1, 2))},
        "VPN": {"A": (True, ID["VPN"]), "B": (True, INT32), "C": (True, ("between", 1e-9, 1e8)),
                "D": (True, ("whole", 0, 7)), "E": (False, NAME)},
        "CTR": {"A": (True, ID["CTR"]), "B": (True, NAME)},
        "FRM": {"A": (True, ID["FRM"]), "B": (True, NAME), "I": (False, ID["CTR"])},
        "PFD": {"A": (True, ID["PFD"]), "C": (True, NAME), "D": (True, UNSIGNED),
                "E": (False, ID["CTR"]), "F": (False, ID["FRM"])},
        "PLN": {"A": (True, kinds(*range(1, 13 if new else 9)))},
        "LSG": {"A": (True, kinds(*range(1, 10 if new else 9)))},
        "PNT": {"A": (True, kinds(*range(1, 12 if new else 3))), "C": (True, (*degrees, 90)),
                "D": (True, (*degrees, 180))},
        "TSK": {"A": (True, ID["TSK"]), "B": (False, NAME), "C": (False, ID["CTR"]),
                "D": (False, ID["FRM"]), "E": (False, ID["PFD"]),
                "G": (True, kinds(*range(1, 7 if new else 5))), "H": (False, CODE),
                "I": (False, CODE), "J": (False, CODE)},
        "TZN": {"A": (True, CODE), "B": (False, NAME)},
        "PDV": {"A": (True, ("pattern", "[0-9A-F]{4}")), "B": (True, INT32),
                "E": (False, ID["VPN"])},
        "GRD": {"A": (True, ("decimal", 9, 90)), "B": (True, ("decimal", 9, 180)),
                "C": (True, ("between", 0, 1)), "D": (True, ("between", 0, 1)),
                "E": (True, UNSIGNED), "F": (True, UNSIGNED),
                "G": (True, ("pattern", "GRD[0-9]{5}")), "H": (False, UNSIGNED),
                "I": (True, kinds(1, 2)), "J": (False, CODE)}}


CHILDREN = {
    "ISO11783_TaskData": {"CTR", "FRM", "PFD", "TSK", "VPN", "PDT"}, "PFD": {"PLN", "LSG", "PNT"},
    "PLN": {"LSG"}, "LSG": {"PNT"}, "TSK": {"TZN", "GRD"}, "TZN": {"PLN", "PDV"}}
_PLAIN = re.compile(r"-?[0-9]+(\.([0-9]+))?")


def breaches(root, version):
    """Return what an xml.etree element breaks, with its place; [] of a sound file."""
    known, found = rules(version), []
    for element in root.iter():
        asked = known[element.tag]
        found += [f"{element.tag} lacks {name}" for name, (required, _) in asked.items()
                  if required and name not in element.attrib]
        for name, text in element.attrib.items():
            if name not in asked:
                found.append(f"{element.tag} has {name}")
            elif not _holds(text, *asked[name][1]):
                found.append(f"{element.tag} {name} is {text}")
        found += [f"{child.tag} stands in {element.tag}" for child in element
                  if child.tag not in CHILDREN.get(element.tag, ())]
        if element.tag == "PLN" and not len(element):
            found.append("PLN is empty")
        if element.tag == "LSG" and len(element) < 2:
            found.append("LSG has fewer than 2 points")
        if (element.text or "").strip():
            found.append(f"{element.tag} holds text")
    return found


def _holds(text, kind, *limits):
    if kind == "name":
        return len(text) <= limits[0]
    if kind == "pattern":
        return re.fullmatch(limits[0], text) is not None and len(text) <= 14
    if kind == "one of":
        return text in limits[0]
    plain = _PLAIN.fullmatch(text)
    if plain is None:
        return False
    if kind == "whole":
        return plain[1] is None and limits[0] <= int(text) <= limits[1]
    if kind == "between":
        return limits[0] <= float(text) <= limits[1]
    decimals, most = limits
    return (decimals is None or len(plain[2] or "") <= decimals) and abs(float(text)) <= most
