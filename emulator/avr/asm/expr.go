package asm

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"strconv"
)

// eval evaluates an integer expression.
func (a *assembler) eval(text string) (int64, error) {
	e, err := parser.ParseExpr(text)
	if err != nil {
		return 0, fmt.Errorf("%q is not an expression", text)
	}
	return a.value(e)
}

func (a *assembler) value(e ast.Expr) (int64, error) {
	switch e := e.(type) {
	case *ast.BasicLit:
		if e.Kind == token.CHAR {
			r, _, _, err := strconv.UnquoteChar(e.Value[1:], '\'')
			return int64(r), err
		}
		return strconv.ParseInt(e.Value, 0, 64)
	case *ast.Ident:
		v, ok := a.symbols[e.Name]
		if !ok {
			return 0, fmt.Errorf("%q is not defined", e.Name)
		}
		return v, nil
	case *ast.ParenExpr:
		return a.value(e.X)
	case *ast.UnaryExpr:
		v, err := a.value(e.X)
		switch e.Op {
		case token.SUB:
			return -v, err
		case token.XOR:
			return ^v, err
		}
		return v, err
	case *ast.CallExpr:
		return a.part(e)
	case *ast.BinaryExpr:
		return a.binary(e)
	}
	return 0, fmt.Errorf("expression of kind %T is not supported", e)
}

// part is lo8(x) or hi8(x).
func (a *assembler) part(e *ast.CallExpr) (int64, error) {
	name, ok := e.Fun.(*ast.Ident)
	if !ok || len(e.Args) != 1 {
		return 0, fmt.Errorf("only lo8(x) and hi8(x) can be called")
	}
	v, err := a.value(e.Args[0])
	switch name.Name {
	case "lo8":
		return v & 0xFF, err
	case "hi8":
		return v >> 8 & 0xFF, err
	}
	return 0, fmt.Errorf("%s is not lo8 or hi8", name.Name)
}

func (a *assembler) binary(e *ast.BinaryExpr) (int64, error) {
	x, err := a.value(e.X)
	if err != nil {
		return 0, err
	}
	y, err := a.value(e.Y)
	if err != nil {
		return 0, err
	}
	switch e.Op {
	case token.ADD:
		return x + y, nil
	case token.SUB:
		return x - y, nil
	case token.MUL:
		return x * y, nil
	case token.OR:
		return x | y, nil
	case token.AND:
		return x & y, nil
	case token.XOR:
		return x ^ y, nil
	case token.SHL:
		return x << uint64(y&63), nil
	case token.SHR:
		return x >> uint64(y&63), nil
	}
	return 0, fmt.Errorf("operator %s is not supported", e.Op)
}
