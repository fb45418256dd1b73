"""Cases, their entries, and answers kept for repeated requests."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from service.cases.tables import Moment, Plain

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "cases",
        sa.Column("id", sa.String(24), primary_key=True),
        sa.Column("owner", sa.String(40), nullable=False),
        sa.Column("reference", sa.String(100)),
        sa.Column("state", sa.String(8), nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("opened_at", Moment, nullable=False),
        sa.Column("changed_at", Moment, nullable=False),
        sa.Column("erased_at", Moment),
        sa.CheckConstraint("state IN ('open', 'closed')", name="cases_state_known"),
        sa.CheckConstraint("version >= 1", name="cases_version_counts"),
    )
    op.create_index("cases_by_time", "cases", ["owner", "opened_at", "id"])
    op.create_index("cases_by_state", "cases", ["owner", "state", "opened_at", "id"])
    op.create_index("cases_by_reference", "cases", ["owner", "reference", "opened_at", "id"])
    op.create_index("cases_by_change", "cases", ["changed_at"])
    op.create_table(
        "entries",
        sa.Column("case_id", sa.String(24), sa.ForeignKey("cases.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("at", Moment, nullable=False),
        sa.Column("body", Plain, nullable=False),
        sa.CheckConstraint("number >= 1", name="entries_number_counts"),
    )
    op.create_table(
        "answers",
        sa.Column("owner", sa.String(40), primary_key=True),
        sa.Column("key", sa.String(255), primary_key=True),
        sa.Column("fingerprint", sa.String(64), nullable=False),
        sa.Column("case_id", sa.String(24), sa.ForeignKey("cases.id", ondelete="CASCADE"), nullable=False),
        sa.Column("status", sa.SmallInteger, nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("body", sa.LargeBinary, nullable=False),
        sa.Column("made_at", Moment, nullable=False),
    )
    op.create_index("answers_by_time", "answers", ["made_at"])
    op.create_index("answers_by_case", "answers", ["case_id"])
