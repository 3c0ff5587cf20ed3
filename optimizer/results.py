"""What a search leaves behind: candidates, front, best per topology, record."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from models.design import DesignBatch
from optimizer.laid_out import LaidOut, NoPlan

NOT_SOUGHT = NoPlan(reasons=("no plan was sought",))


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A ranked design with its reasons.

    Attributes
    ----------
    rank : int
        Place in the ranking, from 1 [1].
    role : str
        What it is best at, such as ``highest output`` [text].
    topology : str
        Trade name or description of its graph [text].
    graph : str
        Graph id [text].
    design : DesignBatch
        The design, a batch of one [record].
    objectives : dict of str to float
        Every objective the program knows, by key with unit, such as ``output_db`` [mixed].
    evaluation : dict
        The object that ``evaluate --json`` prints for it [mixed].
    reasons : tuple of str
        Short sentences with numbers [text].
    prices : tuple of dict
        Price of each rule: ``rule``, ``db_per_unit``, ``unit``, ``verified`` [mixed].
    takeover : dict
        Which topology takes over from its own, or its own from another, as :class:`optimizer.pricing.Priced`
        records it [mixed].
    agreement : dict
        How many restarts of its cell agree with the best, and came within 0.1 dB, of how many [mixed].
    laid_out : LaidOut or NoPlan
        Its floor plan, off which design and evaluation are read, or why there is none [record].
    network : DesignBatch or None
        The free network design that was laid out, a batch of one; None where design is that [record].
    network_db : float or None
        Its score; None where there is no such design [dB].
    tolerance : dict
        How its score spreads with print, driver and day, as :class:`optimizer.spread.Spread` records it;
        empty where that was not sampled [mixed].
    """

    rank: int
    role: str
    topology: str
    graph: str
    design: DesignBatch
    objectives: dict[str, float]
    evaluation: dict[str, Any]
    reasons: tuple[str, ...]
    prices: tuple[dict[str, Any], ...] = ()
    takeover: dict[str, Any] = field(default_factory=dict)
    agreement: dict[str, Any] = field(default_factory=dict)
    laid_out: LaidOut | NoPlan = NOT_SOUGHT
    network: DesignBatch | None = None
    network_db: float | None = None
    tolerance: dict[str, Any] = field(default_factory=dict)

    @property
    def score_db(self) -> float:
        """Score under the season's rules [dB]."""
        return float(self.evaluation["score_db"])


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontPoint:
    """A design that no other one beats in every objective of the season.

    Attributes
    ----------
    topology, graph : str
        Name and id of its graph [text].
    design : DesignBatch
        The design, a batch of one [record].
    objectives : dict of str to float
        Objectives by key with unit [mixed].
    """

    topology: str
    graph: str
    design: DesignBatch
    objectives: dict[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExploredDesigns:
    """Designs of one graph worth looking at: on the season's front or on the graph's own.

    Attributes
    ----------
    graph : str
        Id of the graph [text].
    design : DesignBatch
        The designs [record].
    objectives : dict of str to ndarray, shape (n_designs,)
        Objectives by key with unit [mixed].
    front : ndarray of int, shape (n_designs,)
        Row of ``front.csv``, from 1; 0 where a design is not in it [1].
    """

    graph: str
    design: DesignBatch
    objectives: dict[str, np.ndarray]
    front: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class TopologyBest:
    """Best design that the search found for one graph.

    Attributes
    ----------
    topology, graph : str
        Name and id of the graph [text].
    design : DesignBatch or None
        The design, a batch of one; None where no design fits [record].
    best_db : float or None
        Its score [dB].
    restart_scores_db : tuple of float
        Best score of every restart [dB].
    evaluations : int
        Designs evaluated in all restarts [1].
    why_none : str
        Why there is no design, where there is none [text].
    left_after : int
        Rung of the race, from 1, after which the graph was left; 0 where it went to the end [1].
    reduces_to : str
        Id of a simpler graph that this one contains and does not beat by a margin; empty where
        there is none [text].
    """

    topology: str
    graph: str
    design: DesignBatch | None
    best_db: float | None
    restart_scores_db: tuple[float, ...]
    evaluations: int
    why_none: str = ""
    left_after: int = 0
    reduces_to: str = ""

    @property
    def surveyed_only(self) -> bool:
        """Whether the graph was left after the first rung, a short look at every graph."""
        return self.left_after == 1


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchResult:
    """Everything a run folder is written from.

    Attributes
    ----------
    candidates : tuple of Candidate
        Ranked [list].
    front : tuple of FrontPoint
        In order of falling output [list].
    topologies : tuple of TopologyBest
        In order of falling best score [list].
    objectives : tuple of str
        Names of the season's objectives [list].
    interrupted : bool
        Whether the search was stopped before its end [flag].
    confidence : dict
        How sure the search is: ``settled``, ``sentences`` and the numbers behind them [mixed].
    history : tuple of dict
        Best score and hypervolume after every finished task [mixed].
    counts : dict of str to int
        Numbers of cells, restarts and evaluations [1].
    seconds : dict of str to float
        Wall time by phase [s].
    without_plan : tuple of dict
        Designs that made room for other candidates because they cannot be laid out, and why [mixed].
    bound_db : float or None
        Averaged output that no enclosure of any type exceeds; None where that is not finite [dB].
    explored : tuple of ExploredDesigns
        More designs than the front's, for looking around [list].
    """

    candidates: tuple[Candidate, ...]
    front: tuple[FrontPoint, ...]
    topologies: tuple[TopologyBest, ...]
    objectives: tuple[str, ...]
    interrupted: bool
    confidence: dict[str, Any]
    history: tuple[dict[str, Any], ...]
    counts: dict[str, int]
    seconds: dict[str, float]
    without_plan: tuple[dict[str, Any], ...] = ()
    bound_db: float | None = None
    explored: tuple[ExploredDesigns, ...] = ()
