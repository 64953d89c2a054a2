"""What a person says of known parts."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shopfloor.models import KnownPart, LikePart, User

ANSWERS = ("revision", "other", "")


@transaction.atomic
def part_rename(*, part: KnownPart, name: str) -> None:
    part.name, part.named = name.strip(), True
    part.full_clean(exclude=["rings", "lines"])
    part.save(update_fields=["name", "named"])


@transaction.atomic
def likeness_answer(*, like: LikePart, answer: str, by: User) -> None:
    """Whether the newer part is a later revision of the older one; "" takes the answer back. A
    part follows one other at most. Raises ValidationError."""
    if answer not in ANSWERS:
        raise ValidationError(_("There is no such answer."))
    part = KnownPart.objects.select_for_update().get(pk=like.part_id)
    if answer == "revision" and part.follows_id not in (None, like.older_id):
        raise ValidationError(_("It follows another part already: take that answer back first."))
    like.answer, like.by, like.at = answer, by, timezone.now()
    like.save(update_fields=["answer", "by", "at"])
    follows = like.older_id if answer == "revision" else None
    if answer == "revision" or part.follows_id == like.older_id:
        part.follows_id = follows
        part.save(update_fields=["follows"])
