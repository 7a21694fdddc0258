"""The frame of the page: folium's map without its outside links, in a document of our own.

Whatever is given to folium's elements is compiled as a template twice. Text of users therefore never enters one: it
stands in `Raw` elements, whose text is passed through as it is.
"""

from __future__ import annotations

from importlib.resources import files
from itertools import count
from typing import Any

import folium
from branca.element import Element, Figure
from folium.template import Template

from spreadmap.review.markup import Html, escaped, script_text, tag

POLICY = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data: blob:{host}; "
    "connect-src 'none'"
)
"""What a page may do; `host` is that of map tiles, where a project asks for them."""


def packed_text(*path: str) -> str:
    """Return the text of a file that is packed with this room."""
    return files("spreadmap.review").joinpath(*path).read_text(encoding="utf-8")


class Raw(Element):
    """Text that is passed on untouched, compiled by nobody."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.text = text

    def render(self, **kwargs: Any) -> str:
        """Return the text."""
        return self.text


class PageFigure(Figure):
    """The document: language, title, policy, one `main`; ids count from one, so the same page has the same bytes."""

    def __init__(
        self, title: str, before_map: Html, after_map: Html, style: str, *, language: str = "en", tile_host: str = ""
    ) -> None:
        super().__init__()
        self._numbers = count(1)
        self.page_title = title
        self.before_map = before_map
        self.after_map = after_map
        self.style = style
        self.language = language
        self.policy = POLICY.format(host=f" {tile_host}" if tile_host else "")
        self.first_script = Raw("")
        self.last_script = Raw("")

    def number(self, element: Element) -> None:
        """Give an element the next id of this page instead of a random one."""
        element._id = str(next(self._numbers))

    def render(self, **kwargs: Any) -> str:
        """Return the whole document."""
        for child in list(self._children.values()):
            child.render(**kwargs)

        def parts(element: Element) -> str:
            return "\n".join(child.render(**kwargs) for name, child in element._children.items() if name != "meta_http")

        return "\n".join(
            (
                "<!DOCTYPE html>",
                f'<html lang="{self.language}">',
                "<head>",
                '<meta charset="utf-8">',
                tag("meta", http_equiv="Content-Security-Policy", content=self.policy),
                tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
                f"<title>{escaped(self.page_title)}</title>",
                parts(self.header),
                f"<style>{self.style}</style>",
                "</head>",
                "<body>",
                self.before_map,
                parts(self.html),
                self.after_map,
                f"<script>\n{self.first_script.render()}\n{parts(self.script)}\n{self.last_script.render()}\n</script>",
                "</body>",
                "</html>",
                "",
            )
        )


class ReviewMap(folium.Map):
    """folium's map with Leaflet inlined and nothing fetched; its template holds no text of users."""

    default_js: list[tuple[str, str]] = []  # noqa: RUF012 the base class declares it so
    default_css: list[tuple[str, str]] = []  # noqa: RUF012
    _template = Template(
        """
        {% macro html(this, kwargs) %}
            <div class="folium-map" id={{ this.get_name()|tojson }} tabindex="0" role="application"
                 aria-label={{ this.spoken|tojson }}></div>
        {% endmacro %}
        {% macro script(this, kwargs) %}
            var {{ this.get_name() }} = L.map({{ this.get_name()|tojson }}, {
                center: {{ this.location|tojson }},
                crs: L.CRS.{{ this.crs }},
                ...{{ this.options|tojavascript }}
            });
        {% endmacro %}
        """
    )

    def __init__(self, page: PageFigure, *, centre: tuple[float, float], most_zoom: int, spoken: str) -> None:
        super().__init__(
            location=list(centre),
            tiles=None,
            zoom_start=15,
            maxZoom=most_zoom,
            minZoom=8,
            zoomSnap=0.25,
            zoomDelta=1,
            wheelPxPerZoomLevel=90,
            attributionControl=False,
            zoomControl=False,
        )
        self.spoken = spoken
        self.add_to(page)
        page.number(self)

    def render(self, **kwargs: Any) -> str:
        """Put Leaflet into the head of the page, then the map into its body."""
        figure = self.get_root()
        if not isinstance(figure, Figure):
            msg = "a map is rendered inside a figure"
            raise TypeError(msg)
        figure.header.add_child(Raw(f"<style>{packed_text('vendored', 'leaflet.css')}</style>"), name="leaflet_css")
        leaflet = script_text(packed_text("vendored", "leaflet.js"))
        figure.header.add_child(Raw(f"<script>{leaflet}</script>"), name="leaflet_js")
        super().render(**kwargs)  # type: ignore[no-untyped-call]
        return ""
