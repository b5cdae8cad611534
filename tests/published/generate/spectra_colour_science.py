"""Makes tests/published/data/spectra_reflectance.csv and spectra_xyz.csv with colour-science 0.4.7 (numpy 2.4.6).

Run in an environment of its own that has colour-science: python spectra_colour_science.py FOLDER. Smooth invented
reflectances, 400 to 700 nm every 10 or 20 nm, integrated by its ASTM E308 method with tables of weights.
"""

import sys
from pathlib import Path

import numpy as np

OBSERVERS = {"2": "CIE 1931 2 Degree Standard Observer", "10": "CIE 1964 10 Degree Standard Observer"}
LIGHTS = {"A": "A", "C": "C", "D50": "D50", "D55": "D55", "D65": "D65", "D75": "D75", "F2": "FL2", "F11": "FL11"}


def spectra(nm: np.ndarray) -> dict[str, np.ndarray]:
    """Reflectances of invented patinas."""
    return {
        "bare copper": 0.35 + 0.5 / (1 + np.exp(-(nm - 575) / 14)),
        "brown": 0.04 + 0.16 / (1 + np.exp(-(nm - 590) / 40)),
        "blue-green": 0.08 + 0.42 * np.exp(-(((nm - 495) / 55) ** 2)),
        "black": 0.035 + 0.00002 * (nm - 400),
    }


def main(folder: Path) -> None:
    """Write the two files into a folder."""
    import colour

    source = "# Invented smooth reflectances; made by tests/published/generate/spectra_colour_science.py"
    rows, found = [], []
    for step in (10, 20):
        nm = np.arange(400, 701, step)
        for name, values in spectra(nm).items():
            if step == 10:
                rows.append(",".join([name, *(f"{value:.6f}" for value in values)]))
            sd = colour.SpectralDistribution(dict(zip(nm.tolist(), np.round(values, 6), strict=True)))
            for light in LIGHTS if step == 10 else ("D65",):
                for degrees, observer in OBSERVERS.items():
                    light_sd = colour.SDS_ILLUMINANTS[LIGHTS[light]]
                    xyz = colour.sd_to_XYZ(sd, colour.MSDS_CMFS[observer], light_sd, method="ASTM E308") / 100
                    found.append(f"{name},{step},{light},{degrees},{xyz[0]:.7f},{xyz[1]:.7f},{xyz[2]:.7f}")
    head = ",".join(["name", *map(str, range(400, 701, 10))])
    (folder / "spectra_reflectance.csv").write_text("\n".join([source + ".", head, *rows]) + "\n")
    how = "# XYZ (Y = 1 for white) by colour-science 0.4.7, sd_to_XYZ(method='ASTM E308'), from those of spectra_reflectance.csv."
    (folder / "spectra_xyz.csv").write_text("\n".join([how, "name,step,illuminant,observer,X,Y,Z", *found]) + "\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
