"""Worksheets of an hour and the sums over their hours, put together into functions and compiled.

A function works out a year of several sites side by side, one in each lane, hour after hour: what an hour leaves behind
(temperatures, humidity) is a column of the next. What depends on the sites alone is worked out once, before the loop.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from ctypes import CFUNCTYPE, c_int64, c_void_p
from dataclasses import dataclass
from functools import cache
from typing import TypeVar

import llvmlite.binding as llvm

from screener.formula import CHOICE, COLUMN, LITERAL, LOGIC
from screener.worksheet.compiled.vectors import INTRINSICS, Code
from screener.worksheet.graph import Graph
from screener.worksheet.hours import How, Part

IN_REGISTER = 8 if llvm.get_host_cpu_features().get("avx512f") else 4  # doubles, of most processors
FEW_LANES, MANY_LANES = IN_REGISTER, 2 * IN_REGISTER  # twice as many hide how long operations take
AS_WRITTEN = ("-pre-RA-sched=source", "-enable-misched=false")  # LLVM leaves the lines in their order
ADDRESSES = ("site", "hours", "slots", "slot_sums", "year_sums", "kept", "states")
COUNTS = ("slot_count", "count", "begin", "end")
Function = Callable[..., None]


Tallied = tuple[How, int]


@dataclass(frozen=True)
class Member:
    """A part of a year among those it is worked out with, and in which rows of the common arrays its figures stand."""

    part: Part
    slot: list[int]
    year: list[int]
    kept: list[int]


class YearCode:
    """The year of parts that carry on the same, hence once for all: lines of LLVM assembly of a function by its name.

    The function takes ADDRESSES and COUNTS. All arrays have the lanes last: `site` [site column], `hours` [hour column,
    hour], `slots` [hour], `slot_sums` [tally, slot], `year_sums` [tally], `kept` [formula, hour], `states` [carried]. It goes
    over the hours `begin` to `end` of `count`, from the states it is given to those it leaves there; sums are added to. What
    `members` have in common is there once. `acting` are the operations that only hours need in which a part acts.
    """

    def __init__(self, parts: Sequence[Part], hour_columns: Sequence[str]) -> None:
        self.graph, self.hour_columns = Graph(), tuple(hour_columns)
        self.slot: list[Tallied] = []
        self.year: list[Tallied] = []
        self.kept: list[int] = []
        self.members = [self._member(part) for part in parts]
        self.part = parts[-1]  # for what is the same in all; its steps are those that are read now
        read = self.graph.read
        self._next = [read(formula) for formula in self.part.carried.values()]
        wanted = [*self.kept, *self._next, *(index for _, index in (*self.slot, *self.year))]
        needed = self.graph.needed(wanted + [self.graph.read_column(name) for name in self.part.first.values()])
        varying = self.graph.depending((*self.hour_columns, *self.part.carried))
        self._of_site, of_hour = sorted(needed - varying), needed & varying
        self._acts = read(self.part.acts) if self.part.acts is not None else -1
        self._chosen = [i for i in sorted(of_hour) if self._is_chosen(i)]
        after = self.graph.depending_on(self._chosen) & of_hour
        self._after = sorted(after - {*self._chosen})
        anyhow = [self._acts] * bool(self._chosen) + [self.graph.nodes[i].of[2] for i in self._chosen]
        anyhow += [i for other in self._after for i in self.graph.nodes[other].of] + wanted
        always = self.graph.needed(i for i in anyhow if i not in after) & of_hour
        self._always, self.acting = sorted(always), sorted(of_hour - always - after)
        nodes = [self.graph.nodes[index] for index in self._of_site]
        self.site_columns = tuple(node.name for node in nodes if node.operation == COLUMN)

    def _member(self, part: Part) -> Member:
        """The part with its rows; figures that no part before it has come in below."""
        self.graph.begin(*part.sheets)
        read, tallies = self.graph.read, part.tallies
        slot, year = ([(tally.how, read(tally.value)) for tally in group] for group in (tallies.slot, tallies.year))
        kept = [read(formula) for formula in part.kept]
        return Member(part, _rows(slot, self.slot), _rows(year, self.year), _rows(kept, self.kept))

    def assembly(self, name: str, lanes: int) -> str:
        """The function as LLVM assembly."""
        code, names = Code(lanes), dict[int, str]()
        for index in self._columns(self._of_site):
            names[index] = code.load("%site", str(lanes * self.site_columns.index(self.graph.nodes[index].name)))
        self._work_out(code, self._of_site, names)
        carried = [*self.part.carried]
        first = [code.load("%states", str(lanes * row)) for row in range(len(carried))]
        before = code.taken()
        for index in self._columns(self._always + self.acting):
            column = self.graph.nodes[index].name
            if column in self.hour_columns:
                at = self._place(code, "%count", self.hour_columns.index(column), "%i")
                names[index] = code.load("%hours", at)
            else:
                names[index] = f"%state{carried.index(column)}"
        self._work_out(code, self._always, names)
        if self._chosen:
            self._act(code, names)
        self._work_out(code, self._after, names)
        last_block = "joined" if self._chosen else "loop"
        self._tally(code, names)
        for row, kept in enumerate(self.kept):
            code.store(self._number(code, kept, names), "%kept", self._place(code, "%count", row, "%i"))
        after = [self._number(code, index, names) for index in self._next]
        hour = code.taken()
        states = [
            f"  %state{row} = phi {code.numbers} [{start}, %start], [{last}, %{last_block}]"
            for row, (start, last) in enumerate(zip(first, after, strict=True))
        ]
        for row, last in enumerate(after):
            code.store(last, "%states", str(lanes * row))
        end = code.taken()
        addresses = ", ".join(f"ptr noalias %{name}" for name in ADDRESSES)
        return "\n".join(
            [
                f"define void @{name}({addresses}, {', '.join(f'i64 %{count}' for count in COUNTS)}) {{",
                "start:",
                *before,
                "  br label %loop",
                "loop:",
                f"  %i = phi i64 [%begin, %start], [%next.i, %{last_block}]",
                *states,
                *hour,
                "  %next.i = add i64 %i, 1",
                "  %more = icmp ult i64 %next.i, %end",
                "  br i1 %more, label %loop, label %end.all",
                "end.all:",
                *end,
                "  ret void",
                "}",
            ]
        )

    def _is_chosen(self, index: int) -> bool:
        node = self.graph.nodes[index]
        return node.operation == CHOICE and node.of[0] == self._acts

    def _act(self, code: Code, names: dict[int, str]) -> None:
        """What the part acts with, in hours in which it does so at one of the sites at least; else what goes on without."""
        acts = self._truth(code, self._acts, names)
        some = code.put(f"icmp ne i{code.lanes} {code.put(f'bitcast {code.truths} {acts} to i{code.lanes}')}, 0")
        rests = [self._number(code, self.graph.nodes[index].of[2], names) for index in self._chosen]
        code.lines += [f"  br i1 {some}, label %acting, label %resting", "resting:", "  br label %joined", "acting:"]
        self._work_out(code, self.acting, names)
        chosen = []
        for index, rest in zip(self._chosen, rests, strict=True):
            chosen.append(code.choice(acts, self._number(code, self.graph.nodes[index].of[1], names), rest))
        code.lines += ["  br label %joined", "joined:"]
        for index, act, rest in zip(self._chosen, chosen, rests, strict=True):
            names[index] = code.put(f"phi {code.numbers} [{act}, %acting], [{rest}, %resting]")

    def _tally(self, code: Code, names: dict[int, str]) -> None:
        """Take the hour's values into the sums of its slot and into those of the year."""
        slot = code.put(f"load i64, ptr {code.at('%slots', '%i', 'i64')}")
        for row, (how, index) in enumerate(self.slot):
            self._take_in(code, how, index, "%slot_sums", self._place(code, "%slot_count", row, slot), names)
        for row, (how, index) in enumerate(self.year):
            self._take_in(code, how, index, "%year_sums", str(code.lanes * row), names)

    def _take_in(self, code: Code, how: How, index: int, base: str, at: str, names: dict[int, str]) -> None:
        so_far, value = code.load(base, at), self._number(code, index, names)
        code.store(code.operation("add" if how == "sum" else "larger", so_far, value), base, at)

    def _place(self, code: Code, width: str, row: int, column: str) -> str:
        """Where the lanes of a row and a column begin."""
        flat = code.put(f"add i64 {code.put(f'mul i64 {width}, {row}')}, {column}")
        return code.put(f"mul i64 {flat}, {code.lanes}")

    def _columns(self, indices: Iterable[int]) -> list[int]:
        return [index for index in indices if self.graph.nodes[index].operation == COLUMN]

    def _work_out(self, code: Code, indices: Iterable[int], names: dict[int, str]) -> None:
        """Add the operations of these indices; `names` holds the results, also of those worked out before."""
        for index in indices:
            node = self.graph.nodes[index]
            if node.operation == LITERAL:
                names[index] = code.number(node.value)
            elif node.operation == CHOICE:
                kind = self._truth if self.graph.is_truth(index) else self._number
                condition, yes, no = node.of
                chosen = (self._truth(code, condition, names), kind(code, yes, names), kind(code, no, names))
                names[index] = code.choice(*chosen, truths=kind == self._truth)
            elif node.operation != COLUMN:
                kind = self._truth if node.operation in LOGIC else self._number
                names[index] = code.operation(node.operation, *(kind(code, of, names) for of in node.of))

    def _number(self, code: Code, index: int, names: dict[int, str]) -> str:
        return code.as_number(names[index]) if self.graph.is_truth(index) else names[index]

    def _truth(self, code: Code, index: int, names: dict[int, str]) -> str:
        return names[index] if self.graph.is_truth(index) else code.truth(names[index])


T = TypeVar("T")


def _rows(figures: Iterable[T], known: list[T]) -> list[int]:
    """Where each of the figures stands among those known, which the new ones join."""
    known += [figure for figure in dict.fromkeys(figures) if figure not in known]
    return [known.index(figure) for figure in figures]


def in_step(parts: Mapping[str, Part]) -> list[list[str]]:
    """The names of the parts, together where one hour leaves the same to the next: what they carry on are the same formulas of
    the same columns, whatever else they work out."""
    graph, groups = Graph(), dict[tuple[object, ...], list[str]]()
    for name, part in parts.items():
        graph.begin(*part.sheets)
        carried = tuple((column, graph.read(formula)) for column, formula in part.carried.items())
        acts = None if part.acts is None else graph.read(part.acts)
        groups.setdefault((carried, tuple(part.first.items()), part.warm_up, acts), []).append(name)
    return [*groups.values()]


@cache
def _begin() -> None:
    """Make LLVM ready, once a process."""
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    for option in AS_WRITTEN:
        llvm.set_option("", option)


def compiled(codes: Sequence[YearCode], lanes: int) -> tuple[list[Function], llvm.ExecutionEngine]:
    """A function for each, and the engine, for as long as which they live."""
    _begin()
    target = llvm.Target.from_default_triple().create_target_machine(
        cpu=llvm.get_host_cpu_name(), features=llvm.get_host_cpu_features().flatten(), opt=1
    )
    code = Code(lanes)
    declared = [f"declare {code.numbers} {code.intrinsic(name)}({code.numbers})" for name in INTRINSICS.values()]
    functions = [each.assembly(f"year{number}", lanes) for number, each in enumerate(codes)]
    module = llvm.parse_assembly("\n".join([*declared, *functions]))
    module.verify()
    engine = llvm.create_mcjit_compiler(module, target)
    engine.finalize_object()
    types = CFUNCTYPE(None, *[c_void_p] * len(ADDRESSES), *[c_int64] * len(COUNTS))
    return [types(engine.get_function_address(f"year{number}")) for number in range(len(codes))], engine
