"""Reference pages of the API: the packaged viewer, from our own address, without inline scripts or styles."""

from drf_spectacular.views import SpectacularSwaggerSplitView


class DocsView(SpectacularSwaggerSplitView):
    """Shows the description in a browser; calls can be tried from the page."""

    http_method_names = ["get", "head"]
    url_name = "v1-schema"
    template_name = "projects/api/docs.html"
    title = "Forbcast API, version 1"
