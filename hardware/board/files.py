"""What goes to the maker: Gerber and drill. Runs under KiCad's Python."""

from __future__ import annotations

import zipfile
from pathlib import Path
from typing import Any

import pcbnew

LAYERS = (
    ("F_Cu", pcbnew.F_Cu), ("B_Cu", pcbnew.B_Cu), ("F_Silk", pcbnew.F_SilkS), ("B_Silk", pcbnew.B_SilkS),
    ("F_Mask", pcbnew.F_Mask), ("B_Mask", pcbnew.B_Mask), ("F_Paste", pcbnew.F_Paste), ("Edge_Cuts", pcbnew.Edge_Cuts),
)  # fmt: skip


def _controller(board: Any, folder: Path) -> Any:
    control = pcbnew.PLOT_CONTROLLER(board)
    options = control.GetPlotOptions()
    options.SetOutputDirectory(str(folder))
    options.SetPlotFrameRef(False)
    options.SetUseGerberProtelExtensions(False)
    options.SetCreateGerberJobFile(False)
    options.SetSubtractMaskFromSilk(True)
    options.SetUseAuxOrigin(False)
    return control


def gerber(board: Any, folder: Path) -> None:
    """Write one Gerber file a layer and the drill file."""
    folder.mkdir(parents=True, exist_ok=True)
    control = _controller(board, folder)
    for name, layer in LAYERS:
        control.SetLayer(layer)
        control.OpenPlotfile(name, pcbnew.PLOT_FORMAT_GERBER, name)
        control.PlotLayer()
    control.ClosePlot()
    drill = pcbnew.EXCELLON_WRITER(board)
    drill.SetOptions(False, False, pcbnew.wxPoint(0, 0), True)
    drill.SetFormat(True)
    drill.CreateDrillandMapFilesSet(str(folder), True, False)


def packed(folder: Path, path: Path) -> None:
    """Write all files of a folder as one to send to the maker."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        for each in sorted(folder.iterdir()):
            out.write(each, each.name)
