"""The panel's answers about past runs: list, curve, samples, report, notes, photographs."""

from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from ..errors import KilnctlError
from .guard import REPORT_CSP
from .photos import LARGEST_PHOTO, Photos
from .replies import body, json_body, refuse, reply
from .run_notes import Notes

if TYPE_CHECKING:
    from .app import PanelApp


class PastPages:
    """Of one panel; notes and photographs lie in its folder."""

    def __init__(self, panel: "PanelApp"):
        self.panel, self.catalogue, self.threads = panel, panel.catalogue, panel.threads
        self.notes, self.photos = Notes(panel.folder / "notes.json"), Photos(panel.folder / "photos")

    def routes(self) -> list[Route]:
        return [
            Route("/api/runs", self.runs),
            Route("/api/run/{run}", self.run),
            Route("/api/run/{run}/samples.csv", self.samples),
            Route("/api/run/{run}/photo/{name}", self.photo),
            Route("/report/{run}", self.report),
            Route("/api/note", self.note, methods=["POST"]),
            Route("/api/photo/{run}", self.keep_photo, methods=["POST"]),
            Route("/api/photo-remove", self.remove_photo, methods=["POST"]),
        ]

    async def runs(self, request: Request) -> Response:
        status = self.panel.client.status
        runs = await self.threads.slow(self.catalogue.runs, status.get("folder", "") if status.get("running") else "")
        notes = await self.threads.quick(self.notes.every)
        return reply({"ok": True, "runs": [{**r, "note": notes.get(r["id"], "")} for r in runs]})

    async def run(self, request: Request) -> Response:
        """The curve of one record, its marks, and where its energy went."""
        run = request.path_params["run"]
        said = await self.threads.slow(self.catalogue.past_curve, run)
        return reply({"ok": True, **said, "photos": await self.threads.quick(self.photos.of, run)})

    async def samples(self, request: Request) -> Response:
        """All samples of a record, as CSV."""
        folder = await self.threads.quick(self.catalogue.folder_of, request.path_params["run"])
        path = folder / "samples.csv"
        if not path.is_file():
            raise KilnctlError("this record has no samples.csv yet: it is made when the run is over")
        return FileResponse(path, media_type="text/csv; charset=utf-8", filename=f"{folder.name}.csv")

    async def report(self, request: Request) -> Response:
        unit = "F" if request.query_params.get("unit") == "F" else "C"
        page = await self.threads.slow(self.catalogue.report, request.path_params["run"], unit)
        return Response(
            page,
            media_type="text/html; charset=utf-8",
            headers={"content-security-policy": REPORT_CSP.decode(), "x-frame-options": "SAMEORIGIN"},
        )

    async def note(self, request: Request) -> Response:
        """Keep a note on a run."""
        said = await json_body(request, {"run": str, "text": str})
        if not self.panel.unlocked(request):
            return refuse("the PIN first", 401)
        await self.threads.quick(self.catalogue.folder_of, said["run"])
        await self.threads.quick(self.notes.keep, said["run"], said["text"])
        self.panel.audit(request, f"note on {said['run']}", "kept")
        return reply({"ok": True, "words": "the note is kept"})

    async def photo(self, request: Request) -> Response:
        found = await self.threads.quick(self.photos.file, request.path_params["run"], request.path_params["name"])
        return FileResponse(found, media_type="image/jpeg")

    async def keep_photo(self, request: Request) -> Response:
        """Keep a photograph of a run; the PIN is asked for before its bytes are taken."""
        run = request.path_params["run"]
        if not self.panel.unlocked(request):
            return refuse("the PIN first", 401)
        await self.threads.quick(self.catalogue.folder_of, run)
        name = await self.threads.quick(self.photos.keep, run, await body(request, LARGEST_PHOTO))
        self.panel.audit(request, f"photograph {name} of {run}", "kept")
        return reply({"ok": True, "name": name, "words": "the photograph is kept"})

    async def remove_photo(self, request: Request) -> Response:
        said = await json_body(request, {"run": str, "name": str})
        if not self.panel.unlocked(request):
            return refuse("the PIN first", 401)
        await self.threads.quick(self.photos.remove, said["run"], said["name"])
        self.panel.audit(request, f"photograph {said['name']} of {said['run']}", "removed")
        return reply({"ok": True, "words": "the photograph is removed"})
