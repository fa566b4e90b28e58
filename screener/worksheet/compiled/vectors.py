"""Operations on several numbers at once, as lines of LLVM assembly.

Only additions, multiplications, divisions and roots as IEEE 754 defines them are used, never contracted or reordered: the
same numbers come out on every processor, however many lanes it has. exp and log are made of them too, to two units in
the last place of normal numbers. What is not a number stays none in every operation, as in Polars: exp(NaN) and log(-1)
are NaN, exp(800) is infinite, log(0) is minus infinity.
"""

import math
import struct
import sys
from dataclasses import dataclass, field

BINARY = {"add": "fadd", "subtract": "fsub", "multiply": "fmul", "divide": "fdiv"}
INTRINSICS = {"sqrt": "sqrt", "floor": "floor"}  # what LLVM has itself
ORDERED = {"above": "ogt", "at least": "oge", "below": "olt", "at most": "ole", "equal": "oeq"} | {
    "unequal": "une",
    "unknown": "uno",
}
ONE_BITS, EXPONENT_BIAS, FRACTION_BITS = 0x3FF0000000000000, 1023, 52
ROOT_HALF_BITS = 0x3FE6A09E667F3BCD  # of the square root of one half
WHOLE = 1.5 * 2.0**52  # added to a small number it leaves the nearest whole one in the last bits
WHOLE_BITS = 0x4338000000000000
LN2_HIGH = round(math.log(2) * 2**32) / 2**32  # short enough to stay exact times an exponent (after Cody and Waite)
LN2_LOW = math.log(2) - LN2_HIGH + 2.319046813846299e-17  # with what the double log(2) lacks of ln 2
GREATEST_EXPONENT = 708.0  # e to the power of it is a normal number, and so is one over it
EXP_TERMS, LOG_TERMS = 13, 10  # what is left out is below 2e-16 of the result


@dataclass
class Code:
    """Lines that work on `lanes` doubles at once; each method adds lines and returns the name of the result."""

    lanes: int
    lines: list[str] = field(default_factory=list)
    _count: int = 0

    @property
    def numbers(self) -> str:
        """The type of a vector of numbers."""
        return f"<{self.lanes} x double>"

    @property
    def truths(self) -> str:
        """The type of a vector of truth values."""
        return f"<{self.lanes} x i1>"

    @property
    def wholes(self) -> str:
        """The type of a vector of whole numbers."""
        return f"<{self.lanes} x i64>"

    def put(self, instruction: str) -> str:
        """Add a line that has a result."""
        self._count += 1
        self.lines.append(f"  %v{self._count} = {instruction}")
        return f"%v{self._count}"

    def number(self, value: float) -> str:
        """A constant in all lanes."""
        bits = struct.unpack("<Q", struct.pack("<d", value))[0]
        return f"<{', '.join([f'double 0x{bits:016x}'] * self.lanes)}>"

    def whole(self, value: int) -> str:
        """A whole constant in all lanes."""
        return f"<{', '.join([f'i64 {value}'] * self.lanes)}>"

    def load(self, base: str, index: str) -> str:
        """The numbers from `base[index]` on."""
        return self.put(f"load {self.numbers}, ptr {self.at(base, index)}, align 8")

    def store(self, value: str, base: str, index: str) -> None:
        """Write numbers from `base[index]` on."""
        address = self.at(base, index)
        self.lines.append(f"  store {self.numbers} {value}, ptr {address}, align 8")

    def at(self, base: str, index: str, kind: str = "double") -> str:
        """The address of `base[index]`."""
        return self.put(f"getelementptr inbounds {kind}, ptr {base}, i64 {index}")

    def gathered(self, ones: list[str], kind: str) -> str:
        """Single values as a vector, one in each lane."""
        vector = "poison"
        for lane, one in enumerate(ones):
            vector = self.put(f"insertelement <{self.lanes} x {kind}> {vector}, {kind} {one}, i32 {lane}")
        return vector

    def take_in(self, how: str, values: str, lane: int, base: str, index: str) -> None:
        """Add the value of one lane to `base[index]`, or keep it there if it is larger."""
        address = self.at(base, index)
        one = self.put(f"extractelement {self.numbers} {values}, i32 {lane}")
        so_far = self.put(f"load double, ptr {address}")
        if how == "sum":
            result = self.put(f"fadd double {so_far}, {one}")
        else:
            above = self.put(f"fcmp ogt double {so_far}, {one}")
            result = self.put(f"select i1 {above}, double {so_far}, double {one}")
        self.lines.append(f"  store double {result}, ptr {address}")

    def taken(self) -> list[str]:
        """The lines so far; the code begins anew with the same names in use."""
        lines, self.lines = self.lines, []
        return lines

    def spread(self, base: str, index: int) -> str:
        """The one number `base[index]` in all lanes."""
        one = self.put(f"load double, ptr {self.at(base, str(index))}, align 8")
        first = self.put(f"insertelement {self.numbers} poison, double {one}, i32 0")
        return self.put(
            f"shufflevector {self.numbers} {first}, {self.numbers} poison, <{self.lanes} x i32> zeroinitializer"
        )

    def operation(self, name: str, *of: str) -> str:
        """An operation of `formulas` on numbers, or on truth values for those of logic."""
        if name in BINARY:
            return self.put(f"{BINARY[name]} {self.numbers} {', '.join(of)}")
        if name in ORDERED:
            return self.put(f"fcmp {ORDERED[name]} {self.numbers} {', '.join(of)}")
        if name in ("and", "or"):
            return self.put(f"{name} {self.truths} {', '.join(of)}")
        if name in ("larger", "smaller"):
            return self.extreme(name, *of)
        if name in INTRINSICS:
            return self.put(f"call {self.numbers} {self.intrinsic(INTRINSICS[name])}({self.numbers} {of[0]})")
        made = {"exp": self.exp, "log": self.log, "not": self.complement, "negate": self.negate}
        return made[name](*of)

    def intrinsic(self, name: str) -> str:
        """A function of LLVM's own, by its full name."""
        return f"@llvm.{name}.v{self.lanes}f64"

    def choice(self, condition: str, yes: str, no: str, truths: bool = False) -> str:
        """`yes` where the condition holds, `no` elsewhere."""
        kind = self.truths if truths else self.numbers
        return self.put(f"select {self.truths} {condition}, {kind} {yes}, {kind} {no}")

    def truth(self, number: str) -> str:
        """Whether a number is not zero."""
        return self.operation("unequal", number, self.number(0.0))

    def as_number(self, truth: str) -> str:
        """1 for yes, 0 for no."""
        return self.choice(truth, self.number(1.0), self.number(0.0))

    def complement(self, truth: str) -> str:
        """Not."""
        return self.put(f"xor {self.truths} {truth}, <{', '.join(['i1 true'] * self.lanes)}>")

    def negate(self, x: str) -> str:
        """With the other sign."""
        return self.put(f"fneg {self.numbers} {x}")

    def extreme(self, name: str, a: str, b: str) -> str:
        """The larger or smaller of two; not a number where one is none. One of both is often a constant, which is a number."""
        if a.startswith("<"):
            a, b = b, a
        chosen = self.choice(self.operation("below" if name == "larger" else "above", a, b), b, a)
        return chosen if b.startswith("<") else self.choice(self.operation("unknown", b, b), b, chosen)

    def exp(self, x: str) -> str:
        """e^x: a whole power of two times the series of the rest, which is at most half of ln 2."""
        bounded = self.operation(
            "smaller", self.operation("larger", x, self.number(-GREATEST_EXPONENT)), self.number(GREATEST_EXPONENT)
        )
        shifted = self._sum(self._product(bounded, self.number(1 / math.log(2))), self.number(WHOLE))
        twos = self.operation("subtract", shifted, self.number(WHOLE))
        rest = self.operation("subtract", bounded, self._product(twos, self.number(LN2_HIGH)))
        rest = self.operation("subtract", rest, self._product(twos, self.number(LN2_LOW)))
        series = self._polynomial(rest, [1 / math.factorial(k) for k in range(EXP_TERMS)])
        exponent = self._whole("sub", self._bits(shifted), self.whole(WHOLE_BITS - EXPONENT_BIAS))
        power = self._product(series, self._numbers(self._whole("shl", exponent, self.whole(FRACTION_BITS))))
        beyond = self._sum(x, self.number(math.inf))  # infinite, or not a number
        return self.choice(self.operation("at most", x, self.number(GREATEST_EXPONENT)), power, beyond)

    def log(self, x: str) -> str:
        """Natural logarithm: x is 2^e m with m around 1; log m = 2 (s + s^3/3 + s^5/5 ...), s = (m - 1)/(m + 1)."""
        bits = self._bits(x)
        offset = self._whole("add", bits, self.whole(ONE_BITS - ROOT_HALF_BITS))
        exponent = self._whole("lshr", offset, self.whole(FRACTION_BITS))
        scale = self._whole("shl", exponent, self.whole(FRACTION_BITS))
        m = self._numbers(self._whole("add", self._whole("sub", bits, scale), self.whole(ONE_BITS)))
        as_whole = self._numbers(self._whole("add", exponent, self.whole(WHOLE_BITS)))
        e = self.operation("subtract", as_whole, self.number(WHOLE + EXPONENT_BIAS))
        one = self.number(1.0)
        s = self.operation("divide", self.operation("subtract", m, one), self._sum(m, one))
        series = self._polynomial(self._product(s, s), [2 / (2 * k + 1) for k in range(LOG_TERMS)])
        low = self._sum(self._product(series, s), self._product(e, self.number(LN2_LOW)))
        found = self._sum(self._product(e, self.number(LN2_HIGH)), low)
        found = self.choice(self.operation("below", x, self.number(math.inf)), found, x)  # what is none comes through
        below = self.operation("at least", x, self.number(0.0))
        out = self.choice(below, self.number(-math.inf), self.number(math.nan))
        return self.choice(self.operation("at least", x, self.number(sys.float_info.min)), found, out)

    def _polynomial(self, x: str, coefficients: list[float]) -> str:
        result = self.number(coefficients[-1])
        for coefficient in reversed(coefficients[:-1]):
            result = self._sum(self._product(result, x), self.number(coefficient))
        return result

    def _sum(self, a: str, b: str) -> str:
        return self.operation("add", a, b)

    def _product(self, a: str, b: str) -> str:
        return self.operation("multiply", a, b)

    def _whole(self, instruction: str, a: str, b: str) -> str:
        return self.put(f"{instruction} {self.wholes} {a}, {b}")

    def _bits(self, x: str) -> str:
        return self.put(f"bitcast {self.numbers} {x} to {self.wholes}")

    def _numbers(self, bits: str) -> str:
        return self.put(f"bitcast {self.wholes} {bits} to {self.numbers}")
