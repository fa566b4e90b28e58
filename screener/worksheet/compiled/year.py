"""Two worksheets and the sums over their hours, put together into one function and compiled.

The function works out a year of a site. Its first loop goes over all hours with the worksheet of any hour, adds up the
dry ones and lists the damp ones; the second goes over that list with both worksheets, so that no work is spent on hours
that are not damp. Several hours are worked out side by side, one in each lane. What depends on the site alone is worked
out once, before the loops.
"""

from collections.abc import Callable, Iterable, Sequence
from ctypes import CFUNCTYPE, c_int64, c_void_p

import llvmlite.binding as llvm

from screener.formula import CHOICE, COLUMN, LITERAL, LOGIC, Number, col
from screener.worksheet import Worksheet
from screener.worksheet.compiled.graph import Graph
from screener.worksheet.compiled.vectors import INTRINSICS, Code
from screener.worksheet.hours import AT_ONCE, LEAST, How, Tallies

FEW_LANES, MANY_LANES = 4, 8  # doubles in a register of most processors; twice as many hide how long operations take
PHASES = AT_ONCE  # a year's sum is taken in so many parts, whatever the number of lanes: the same numbers come out
GROUPS = ("dry_slot", "dry_year", "damp_slot", "damp_year")
ADDRESSES = ("site", "hours", "slots", *GROUPS, "dry_kept", "damp_kept", "indices")
STRIDES = tuple(f"{group}_stride" for group in GROUPS)
Taken = list[list[tuple[How, int]]]  # by slot and over the year: how, and the index of the formula


class YearCode:
    """A compiled year of a site.

    `function` takes ADDRESSES, STRIDES and the number of hours, a multiple of PHASES, and returns how many are damp.
    `site` holds the numbers of `site_columns`; `hours` the `hour_columns` one after the other; `slots` the slot of each
    hour. Hours that weigh nothing do not count. The sums of the four GROUPS, [tally, slot] or [tally, phase] with rows a
    stride of doubles apart, must hold the tallies' beginnings. `dry_kept` gets a formula of each hour, -inf unless it is
    dry; `damp_kept` some formulas of damp hours, [formula, hour]; `indices` the numbers of the damp hours.
    """

    def __init__(
        self,
        any_hour: Worksheet,
        damp_hour: Worksheet,
        hour_columns: Sequence[str],
        dry: Tallies,
        damp: Tallies,
        dry_kept: Number,
        damp_kept: Sequence[Number],
        lanes: int = FEW_LANES,
    ) -> None:
        self.graph = Graph(any_hour, damp_hour)
        self.hour_columns, self.dry, self.damp = tuple(hour_columns), dry, damp
        self.lanes, self.kept = lanes, len(damp_kept)
        read = self.graph.read
        self._is_damp, self._weight = read(col("damp")), read(col("weight_h"))
        self._dry_kept, self._damp_kept = read(dry_kept), [read(formula) for formula in damp_kept]
        self._dry, self._damp = (
            [[(tally.how, read(tally.value)) for tally in group] for group in (part.slot, part.year)]
            for part in (dry, damp)
        )
        varying = self.graph.depending(self.hour_columns)
        of_dry = self.graph.needed([self._is_damp, self._weight, self._dry_kept, *_indices(self._dry)])
        of_damp = self.graph.needed([*self._damp_kept, *_indices(self._damp)])
        self._of_site = sorted((of_dry | of_damp) - varying)
        self._of_any_hour, self._of_damp_hour = sorted(of_dry & varying), sorted(of_damp & varying)
        nodes = [self.graph.nodes[index] for index in self._of_site]
        self.site_columns = tuple(node.name for node in nodes if node.operation == COLUMN)
        self._machine = _compiled(self.assembly())
        address = self._machine.get_function_address("year")
        self.function: Callable[..., int] = CFUNCTYPE(
            c_int64, *[c_void_p] * len(ADDRESSES), *[c_int64] * len(STRIDES), c_int64
        )(address)

    def assembly(self) -> str:
        """The function as LLVM assembly."""
        code, of_site = Code(self.lanes), dict[int, str]()
        self._work_out(code, self._of_site, of_site)
        before = code.taken()
        any_hour = self._any_hour(code, dict(of_site))
        damp_hour = self._damp_hour(code, dict(of_site))
        step = self.lanes
        addresses = ", ".join(f"ptr noalias %{name}" for name in ADDRESSES)
        return "\n".join(
            [
                *(f"declare {code.numbers} {code.intrinsic(name)}({code.numbers})" for name in INTRINSICS.values()),
                f"define i64 @year({addresses}, {', '.join(f'i64 %{stride}' for stride in STRIDES)}, i64 %count) {{",
                "start:",
                *before,
                "  br label %any",
                "any:",
                "  %i = phi i64 [0, %start], [%next.i, %any.end]",
                "  %n0 = phi i64 [0, %start], [%n.end, %any.end]",
                *any_hour,
                "  br label %any.end",
                "any.end:",
                f"  %next.i = add i64 %i, {step}",
                "  %more.any = icmp ult i64 %next.i, %count",
                "  br i1 %more.any, label %any, label %listed.all",
                "listed.all:",
                "  %some = icmp ugt i64 %n.end, 0",
                "  br i1 %some, label %damp, label %end",
                "damp:",
                "  %j = phi i64 [0, %listed.all], [%next.j, %damp.end]",
                *damp_hour,
                "  br label %damp.end",
                "damp.end:",
                f"  %next.j = add i64 %j, {step}",
                "  %more.damp = icmp ult i64 %next.j, %n.end",
                "  br i1 %more.damp, label %damp, label %end",
                "end:",
                "  ret i64 %n.end",
                "}",
            ]
        )

    def _any_hour(self, code: Code, names: dict[int, str]) -> list[str]:
        """An hour of the first loop: hours %i and following, of which %n0 before were damp."""
        for column in self._columns(self._of_any_hour):
            index = code.put(f"add i64 %i, {code.put(f'mul i64 %count, {self._row(column)}')}")
            names[column] = code.load("%hours", index)
        self._work_out(code, self._of_any_hour, names)
        counts = code.operation("above", names[self._weight], code.number(0.0))
        is_damp = self._truth(code, self._is_damp, names)
        hours = [code.put(f"add i64 %i, {lane}") for lane in range(self.lanes)]
        dry = code.operation("and", code.complement(is_damp), counts)
        code.store(code.choice(dry, names[self._dry_kept], code.number(LEAST)), "%dry_kept", "%i")
        self._tally(code, self._dry, dry, hours, "dry", "%i", names)
        damp, count = code.operation("and", is_damp, counts), "%n0"
        for lane, hour in enumerate(hours):  # each is written, and written over unless it is damp
            code.lines.append(f"  store i64 {hour}, ptr {code.at('%indices', count, 'i64')}")
            one = code.put(f"zext i1 {code.put(f'extractelement {code.truths} {damp}, i32 {lane}')} to i64")
            count = f"%n{lane + 1}" if lane + 1 < self.lanes else "%n.end"
            code.lines.append(f"  {count} = add i64 %n{lane}, {one}")
        return code.taken()

    def _damp_hour(self, code: Code, names: dict[int, str]) -> list[str]:
        """An hour of the second loop: indices %j and following of the %n.end listed."""
        numbers = [code.put(f"add i64 %j, {lane}") for lane in range(self.lanes)]
        there = [code.put(f"icmp ult i64 {number}, %n.end") for number in numbers]
        listed = [code.put(f"load i64, ptr {code.at('%indices', number, 'i64')}") for number in numbers]
        first = code.put("load i64, ptr %indices")
        hours = [code.put(f"select i1 {t}, i64 {h}, i64 {first}") for t, h in zip(there, listed, strict=True)]
        for column in self._columns(self._of_damp_hour):
            offset = code.put(f"mul i64 %count, {self._row(column)}")
            at = [code.at("%hours", code.put(f"add i64 {offset}, {hour}")) for hour in hours]
            names[column] = code.gathered([code.put(f"load double, ptr {index}") for index in at], "double")
        self._work_out(code, self._of_damp_hour, names)
        counts = code.gathered(there, "i1")
        self._tally(code, self._damp, counts, hours, "damp", "%j", names)
        for row, kept in enumerate(self._damp_kept):
            index = code.put(f"add i64 %j, {code.put(f'mul i64 %count, {row}')}")
            code.store(code.choice(counts, names[kept], code.number(LEAST)), "%damp_kept", index)
        return code.taken()

    def _columns(self, indices: Iterable[int]) -> list[int]:
        return [index for index in indices if self.graph.nodes[index].operation == COLUMN]

    def _row(self, index: int) -> int:
        return self.hour_columns.index(self.graph.nodes[index].name)

    def _work_out(self, code: Code, indices: Iterable[int], names: dict[int, str]) -> None:
        """Add the operations of these indices; `names` holds the results, also of those worked out before."""
        for index in indices:
            node = self.graph.nodes[index]
            if node.operation == LITERAL:
                names[index] = code.number(node.value)
            elif node.operation == COLUMN and index not in names:
                names[index] = code.spread("%site", self.site_columns.index(node.name))
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

    def _tally(
        self,
        code: Code,
        tallies: Taken,
        counts: str,
        hours: list[str],
        part: str,
        number: str,
        names: dict[int, str],
    ) -> None:
        """Take the values of the hours that count into the sums of their slots, hour by hour, and into those of the year."""
        slots = [code.put(f"load i64, ptr {code.at('%slots', hour, 'i64')}") for hour in hours]
        phase = code.put(f"and i64 {number}, {PHASES - 1}")
        for group, taken in zip(("slot", "year"), tallies, strict=True):
            base = f"%{part}_{group}"
            for row, (how, index) in enumerate(taken):
                nothing = code.number(0.0 if how == "sum" else LEAST)
                value = code.choice(counts, self._number(code, index, names), nothing)
                start = code.at(base, code.put(f"mul i64 {base}_stride, {row}"))
                if group == "slot":
                    for lane, slot in enumerate(slots):
                        code.take_in(how, value, lane, start, slot)
                else:
                    so_far = code.load(start, phase)
                    code.store(code.operation("add" if how == "sum" else "larger", so_far, value), start, phase)


def _indices(tallies: Taken) -> list[int]:
    return [index for group in tallies for _, index in group]


def _compiled(assembly: str) -> llvm.ExecutionEngine:
    """Machine code for this processor. The code lives as long as the engine that is returned."""
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    target = llvm.Target.from_default_triple().create_target_machine(
        cpu=llvm.get_host_cpu_name(), features=llvm.get_host_cpu_features().flatten(), opt=1
    )
    module = llvm.parse_assembly(assembly)
    module.verify()
    engine = llvm.create_mcjit_compiler(module, target)
    engine.finalize_object()
    return engine
