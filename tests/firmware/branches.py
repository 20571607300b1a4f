"""Which branches of a module were taken: each condition, each part of an `and` or `or`, both true and false."""

import ast


class Branches(ast.NodeTransformer):
    """Turns source into source that notes every outcome; `missing()` is what was not seen yet.

    Conditions of functions only: what stands at module level runs once, at the import.
    """

    def __init__(self) -> None:
        self.names: list[str] = []
        self.wanted: set[tuple[int, bool]] = set()
        self.seen: set[tuple[int, bool]] = set()
        self._depth = 0

    def instrumented(self, source: str) -> str:
        tree = ast.fix_missing_locations(self.visit(ast.parse(source)))
        return ast.unparse(tree)

    def note(self, number: int, value: object) -> object:
        self.seen.add((number, bool(value)))
        return value

    def missing(self) -> list[str]:
        return [f"{self.names[number]} never {outcome}" for number, outcome in sorted(self.wanted - self.seen)]

    def _noted(self, node: ast.expr, outcomes: tuple[bool, ...] = (True, False)) -> ast.expr:
        number = len(self.names)
        self.names.append(f"line {node.lineno}: {ast.unparse(node)}")
        self.wanted |= {(number, outcome) for outcome in outcomes}
        return ast.Call(ast.Name("_note", ast.Load()), [ast.Constant(number), node], [])

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        self._depth += 1
        self.generic_visit(node)
        self._depth -= 1
        entry = ast.copy_location(ast.Constant(True), node)
        self.names.append(f"line {node.lineno}: {node.name} entered")
        self.wanted.add((len(self.names) - 1, True))
        call = ast.Call(ast.Name("_note", ast.Load()), [ast.Constant(len(self.names) - 1), entry], [])
        node.body.insert(0, ast.Expr(call))
        return node

    def _tested(self, node: ast.If | ast.IfExp | ast.While) -> ast.AST:
        plain = not isinstance(node.test, ast.BoolOp)  # its parts are noted each
        self.generic_visit(node)
        if self._depth and plain:
            node.test = self._noted(node.test)
        return node

    visit_If = visit_IfExp = visit_While = _tested

    def visit_BoolOp(self, node: ast.BoolOp) -> ast.AST:
        self.generic_visit(node)
        if self._depth:
            node.values = [part if isinstance(part, ast.BoolOp) else self._noted(part) for part in node.values]
        return node
