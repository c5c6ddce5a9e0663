"""Room 11: the bench, a local web page over `run` and the view models.

How a page is added:

1. Write `pages/NAME.py` with functions `(session, ask) -> Page | Redirect | Raw`. A page knows
   nothing of HTTP: `Ask` holds what was asked (words of the path, query, form). The cell as it is
   on disk now is `session.now().cell` (None: nothing could be made of the file), its judgement
   `judgement_of(session.now())` of `pages/overview.py`. Where there is no file yet
   (`session.exists`), answer `Redirect("/new")`. What the page shows goes into `Page` as plain
   values.
2. Write `templates/NAME.html`; it begins with `{% extends layout %}` and fills `main`. No style
   and no script in it: looks are classes of `static/bench.css`, comfort is `static/bench.js`; a
   page with looks of its own adds `static/NAME.css`, named in `base.html`.
3. Give the module `ROUTES`, a tuple of `Route` (`writes=True` for what is sent as a form; a word
   of the path is `{name}`, `{name:path}` with slashes); name the module in `pages/register.py`
   and, where it has a place in the menu, its path and word in `pages/menu.py`.
4. What it shows goes out as JSON too: `add_routes(app, session, needs)` of a module `api_NAME.py`
   is called in `make_api`; `needs` are the dependencies of what writes.
5. A handler holds the lock of the session, so it is quick. Long work is a job:
   `job = session.now().jobs.get("faults", work)`, where `work(progress)` calls
   `progress(done, total)`; it goes on by itself and is dropped when the file changes. Show
   `job.result` when `job.ready`, else the macro `working(job, what)`: it tells how far the work is
   and has the page fetched again. What belongs to one state of the file and is quick is kept with
   `session.now().shelf.get(key, make)`; what outlives a change of the file, such as a procedure
   half done, with `session.kept.get(key, make)`.

What holds for every page: all state is in the URL (`Setting` reads and writes that of a circuit),
so each view can be linked, printed and gone back from; it works without script, and a link or a
GET form with the attribute `data-swap` is made smooth by the script, which fetches the same URL
and exchanges `main`. What writes is a POST with the hidden field of the macro
`token_field(token)`; the doors (`doors.py`) check host, origin, size and code before a page is
asked, `app.py` the token.
"""

from ringout.web.app import create_app
from ringout.web.session import Session

__all__ = ["Session", "create_app"]
