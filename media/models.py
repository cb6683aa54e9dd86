from media.base.models import Event, Job, Role, User
from media.markup.db.models import Markup
from media.photographs.db.models import Photograph

__all__ = ["Event", "Job", "Markup", "Photograph", "Role", "User"]
