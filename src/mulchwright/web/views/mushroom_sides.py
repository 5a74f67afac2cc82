"""The two sides of a drawn mushroom: whole, a little from below, and cut lengthwise."""

from __future__ import annotations

from mulchwright.sheets.drawing import element, number
from mulchwright.trade import Shape
from mulchwright.web.views.mushroom_body import (
    CURVE,
    RIM,
    RING_AT,
    Body,
    Piece,
    color_class,
    line_of,
)
from mulchwright.web.views.mushroom_caps import (
    dome_path,
    draw_cap,
    draw_funnel,
    draw_run_down,
    draw_underside,
    surface_classes,
)
from mulchwright.web.views.mushroom_rings import RingPlace, draw_ring
from mulchwright.web.views.mushroom_shelf import draw_shelf, draw_shelf_section
from mulchwright.web.views.mushroom_stems import draw_cords, draw_stem, stem_path

__all__ = ["cut_open", "whole"]


def whole(shape: Shape, body: Body, cx: float, base_y: float, s: float, mark: str) -> Piece:
    """The mushroom from the side, a little from below: cx its middle, base_y the ground, s pixels to a mm."""
    piece = Piece()
    if shape.cap_form == "shelf":
        draw_shelf(piece, shape, body, cx, base_y, s, mark)
        return piece
    if shape.base == "joined" and not body.closed:
        for side, size, turn in ((-1, 0.62, -15), (1, 0.5, 17)):
            start = len(piece.elements)
            x = cx + side * body.thick_mm * s * 0.7
            _upright(piece, shape, body, x, base_y + 2, s * size, mark)
            piece.group("joined", start, transform=f"rotate({turn} {number(x)} {number(base_y + 4)})")
        piece.spots.clear()
    _upright(piece, shape, body, cx, base_y, s, mark)
    return piece


def _upright(piece: Piece, shape: Shape, body: Body, cx: float, base_y: float, s: float, mark: str) -> None:
    w, h = body.cap_mm * s / 2, body.cap_high_mm * s
    my = base_y - body.stem_mm * s
    thick = body.thick_mm * s
    rim = 0.0 if body.closed else w * RIM.get(shape.cap_form, 0.0)
    if shape.cap_form == "funnel" and not body.closed:
        draw_stem(piece, shape, body, cx, my - 0.1 * h, base_y, thick, s, mark)
        draw_funnel(piece, shape, cx, my - h, w, h, thick, mark)
    else:
        if not body.closed:
            draw_underside(piece, shape, cx, my, w, rim, thick)
        start = len(piece.elements)
        dome = dome_path(cx, my - h, w, h, shape, rim, closed=body.closed)
        draw_cap(piece, shape, dome, cx, my - h, w, h, rim, mark)
        piece.group(f"part-cap cap-{shape.cap_form} {surface_classes(shape)}", start)
        piece.spots["cap"] = (cx - 0.62 * w, my - 0.42 * h)
        draw_stem(piece, shape, body, cx, my + 0.2 * rim, base_y, thick, s, mark)
        if shape.gill_attachment == "running-down" and not body.closed:
            draw_run_down(piece, shape, cx, my, thick, rim)
    if body.closed:
        if shape.ring not in ("none", "cobweb", "zone"):
            piece.add(line_of("M", cx - w * 0.86, my - h * 0.02, "Q", cx, my + w * 0.34, cx + w * 0.86,
                my - h * 0.02),
                      "veil c-white")  # fmt: skip
        return
    draw_ring(piece, shape, RingPlace(cx, my, base_y, thick, w, rim, mark))


def cut_open(shape: Shape, body: Body, x: float, base_y: float, s: float, mark: str) -> Piece:
    """The mushroom cut lengthwise, x its middle: flesh, how the gills meet the stem, what the flesh does."""
    piece = Piece()
    if shape.cap_form == "shelf":
        draw_shelf_section(piece, shape, body, x, base_y, s)
        return piece
    w, h = body.cap_mm * s / 2, body.cap_high_mm * s
    my = base_y - body.stem_mm * s
    top, thick = my - h, body.thick_mm * s
    funnel = shape.cap_form == "funnel" and not body.closed
    half = 0.46 * thick
    thin = {"cylinder": 0.16, "bell": 0.3, "cone": 0.32}.get(shape.cap_form, 0.5)
    join = top + (0.75 * h if funnel else thin * h)
    stem = stem_path(x, join, base_y, thick, shape, half=True)
    flesh = color_class(shape.flesh_color)
    start = len(piece.elements)
    if shape.base == "cords":
        draw_cords(piece, x + 0.3 * thick, base_y, thick * 0.7)
    if shape.base == "cup":
        piece.add(line_of("M", x, base_y + 0.95 * thick, "C", x + 0.9 * thick, base_y + 0.95 * thick,
            x + 1.4 * thick, base_y + 0.2 * thick,
                          x + 1.18 * thick, base_y - 0.97 * thick, "C", x + 1.1 * thick,
                          base_y - 0.2 * thick, x + 0.95 * thick,
                          base_y + 0.6 * thick, x, base_y + 0.62 * thick, "Z"),
                          "cup c-white outline thin")  # fmt: skip
    piece.add(stem, f"flesh {flesh}")
    piece.group("cut-stem", start)
    if funnel:
        upper = line_of(
            "M", x, top + 0.5 * h, "C", x + 0.35 * w, top + 0.5 * h, x + 0.6 * w, top + 0.05 * h, x + w, top
        )
        lower = line_of("C", x + 0.7 * w, top + 0.3 * h, x + 0.4 * w, join, x + half, join + 0.12 * h)
        edge = line_of("M", x + w, top, "C", x + 0.76 * w, top + 0.75 * h, x + 1.9 * half, top + 0.8 * h,
            x + half, top + 1.6 * h, "L", x + half,
                       join, "C", x + 0.4 * w, join, x + 0.7 * w, top + 0.3 * h, x + w, top, "Z")  # fmt: skip
    else:
        (ax, ay), (bx, by) = ((0.7, -0.02), (1.12, 0.45)) if body.closed else CURVE[shape.cap_form]
        upper = line_of("M", x, top, "C", x + ax * w, top + ay * h, x + bx * w, top + by * h, x + w, my)
        reach = 0.14 * w if shape.gill_attachment == "free" else 0.0
        lower = line_of(
            "C",
            x + (bx - 0.1) * w,
            top + (by + 0.24) * h,
            x + (ax + 0.02) * w,
            top + (ay + thin) * h,
            x + half,
            join,
        )
        from_margin = line_of(
            "M",
            x + w,
            my,
            "C",
            x + (bx - 0.1) * w,
            top + (by + 0.24) * h,
            x + (ax + 0.02) * w,
            top + (ay + thin) * h,
        )
        inner = x + half + reach
        gap_y = join + 0.02 * h
        ends = {
            "free": ("L", inner, gap_y + 0.1 * h, "C", inner, my - 0.1 * h, x + 0.7 * w, my + 0.06 * h,
            x + w, my),
            "attached": ("L", x + half, my - 0.02 * h, "C", x + 0.5 * w, my + 0.08 * h, x + 0.8 * w,
            my + 0.04 * h, x + w, my),
            "notched": ("L", x + half, join + 0.16 * h, "Q", x + half + 0.05 * w, join + 0.14 * h,
            x + half + 0.1 * w, my - 0.02 * h, "C",
                        x + 0.55 * w, my + 0.1 * h, x + 0.8 * w, my + 0.04 * h, x + w, my),
            "running-down": ("L", x + half, my + 0.5 * h, "C", x + half + 0.15 * w, my + 0.1 * h,
            x + 0.7 * w, my + 0.06 * h, x + w, my),
        }[shape.gill_attachment]  # fmt: skip
        edge = from_margin + " " + line_of(inner, gap_y) + " " + line_of(*ends) + " Z"
    start = len(piece.elements)
    color = shape.gill_colors[0] if body.closed else shape.gill_colors[-1]
    piece.add(edge, f"gill-ground {color_class(color)} outline thin")
    piece.group(f"cut-gills gills-{shape.gill_attachment}", start)
    start = len(piece.elements)
    piece.add(
        upper.replace("M", line_of("M", x - 0.5, top + (0.5 * h if funnel else 0)) + " L", 1)
        + " "
        + lower
        + line_of(" L", x - 0.5, join + 1, "Z"),
        f"flesh {flesh}",
    )
    piece.add(upper, f"skin {color_class(shape.cap_color).replace('c-', 's-', 1)}")
    piece.add(upper, "outline line thin")
    piece.add(_lower_line(upper, lower, x + w, top if funnel else my), "outline line thin")
    _stains(piece, shape, x, top, base_y, w, h, half, join, thick)
    piece.add(_stem_side(stem), "outline line thin")
    if not body.closed:
        _ring_stub(piece, shape, x, my, base_y, thick)
    piece.group(f"part-flesh change-{shape.flesh_change}", start)
    mirror = f"translate({number(2 * x, 2)} 0) scale(-1 1)"
    piece.elements.append(element("g", tuple(piece.elements), class_="other-half", transform=mirror))
    gill_y = top + 0.9 * h if funnel else (join + my) / 2 + 0.06 * h
    piece.spots["gills"] = (x + half + 0.34 * (w - half), gill_y)
    at_base = shape.flesh_change in ("yellow", "dark-patch")
    piece.spots["flesh"] = (
        (x + 0.3 * half, base_y - 3) if at_base else (x + 0.42 * half, my + 0.5 * (base_y - my))
    )
    return piece


def _stem_side(path: str) -> str:
    """The outer side alone of a stem's half: neither its top nor the cut."""
    curves = path[path.index("L") + 1 : path.rindex("L")]
    return "M" + curves


def _lower_line(upper: str, lower: str, x: float, y: float) -> str:
    """The flesh's lower border as a line of its own, from the cap's margin at x, y."""
    return line_of("M", x, y) + " " + lower


def _ring_stub(piece: Piece, shape: Shape, x: float, my: float, base: float, thick: float) -> None:
    if shape.ring in ("none", "cobweb"):
        return
    y = my + (0.45 if shape.cap_form == "cylinder" else RING_AT) * (base - my)
    side = x + 0.47 * thick
    long = {"toothed": 0.5, "skirt": 0.55, "present": 0.4, "thin": 0.28, "movable": 0.3, "zone": 0.2}[
        shape.ring
    ] * max(thick, 6)
    drop = {"toothed": 0.5, "skirt": 1.4, "present": 0.8, "thin": 0.4, "movable": 0.1, "zone": 0.7}[
        shape.ring
    ] * max(thick, 6)
    piece.add(line_of("M", side, y, "Q", side + 0.7 * long, y + 0.2 * drop, side + long, y + drop, "L",
        side + 0.4 * long, y + 0.7 * drop, "L", side,
                      y + 0.3 * drop, "Z"), "ring-part c-white outline thin")  # fmt: skip


def _stains(
    piece: Piece,
    shape: Shape,
    x: float,
    top: float,
    base: float,
    w: float,
    h: float,
    half: float,
    join: float,
    thick: float,
) -> None:
    if shape.flesh_change == "blue":
        piece.add(
            line_of(
                "M",
                x - 0.6,
                top + 0.2 * h,
                "q",
                0.3 * w,
                0.02 * h,
                0.34 * w,
                0.2 * h,
                "q",
                -0.1 * w,
                0.2 * h,
                -0.34 * w,
                0.16 * h,
                "Z",
            ),
            "stain c-blue-stain",
        )
        piece.add(
            line_of(
                "M",
                x - 0.6,
                base - 1.6 * thick,
                "q",
                0.5 * thick,
                0.3 * thick,
                0.3 * thick,
                1.5 * thick,
                "L",
                x - 0.6,
                base,
                "Z",
            ),
            "stain c-blue-stain",
        )
    elif shape.flesh_change == "yellow":
        piece.add(line_of("M", x - 0.6, base - 1.1 * thick, "q", 0.5 * thick, 0.2 * thick, 0.6 * thick,
            1.1 * thick, "q", -0.1 * thick, 0.3 * thick, -0.6 * thick,
                          0.42 * thick, "Z"), "stain c-chrome-yellow")  # fmt: skip
