"""Reading and writing flat arrays in kernels so that their loops become vector instructions.

Numba lets an index be negative and must take any two arrays to overlap; both keep a loop over flat
arrays from being turned into vector instructions, the second one after a handful of arrays.  `get`
and `put` know neither: indices count from 0, and what is put in a loop is never got in it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeAlias

from llvmlite import ir
from numba.core import types
from numba.extending import intrinsic

#: A signature, and what writes the instructions.
Typed: TypeAlias = tuple[Any, Callable[..., Any]]


def _compiled_in_place(written: Callable[..., Typed]) -> Any:
    """What a kernel calls, without the first argument that numba gives."""
    return intrinsic(written)


def _node(module: ir.Module, name: str) -> Any:
    domain = module.add_metadata(["levelsill arrays"])
    return module.add_metadata([module.add_metadata([name, domain])])


def _place(context: Any, builder: ir.IRBuilder, kind: Any, array: Any, index: Any) -> Any:
    return builder.gep(context.make_array(kind)(context, builder, array).data, [index],
                       inbounds=True)


@_compiled_in_place
def get(typing: Any, array: Any, index: Any) -> Typed:
    """Value of a flat array at an index from 0."""
    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        found = builder.load(_place(context, builder, signature.args[0], *arguments))
        found.set_metadata("noalias", _node(builder.module, "written"))
        return found
    return array.dtype(array, types.intp), generate


@_compiled_in_place
def get_kept(typing: Any, array: Any, index: Any) -> Typed:
    """As `get`, from an array that the loop also puts to, at the same index."""
    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        return builder.load(_place(context, builder, signature.args[0], *arguments))
    return array.dtype(array, types.intp), generate


@_compiled_in_place
def put(typing: Any, array: Any, index: Any, value: Any) -> Typed:
    """Write a value of the array's own type; what the loop gets is not touched by it."""
    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kept = builder.store(arguments[2], _place(context, builder, signature.args[0],
                                                  *arguments[:2]))
        kept.set_metadata("alias.scope", _node(builder.module, "written"))
        return context.get_dummy_value()
    return types.void(array, types.intp, array.dtype), generate


@_compiled_in_place
def put_too(typing: Any, array: Any, index: Any, value: Any) -> Typed:
    """As `put`, into an array that shares nothing with those put to before in the loop."""
    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kept = builder.store(arguments[2], _place(context, builder, signature.args[0],
                                                  *arguments[:2]))
        kept.set_metadata("alias.scope", _node(builder.module, "written"))
        kept.set_metadata("noalias", _node(builder.module, "written"))
        return context.get_dummy_value()
    return types.void(array, types.intp, array.dtype), generate


@_compiled_in_place
def nearest(typing: Any, value: Any) -> Typed:
    """The whole number nearest to a float32, below 2^31; halves go to the even one."""
    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        rint = builder.module.declare_intrinsic("llvm.rint", [ir.FloatType()])
        return builder.fptosi(builder.call(rint, arguments), ir.IntType(32))
    return types.int32(types.float32), generate


@_compiled_in_place
def as_bits(typing: Any, value: Any) -> Typed:
    """The bits of a float32 as an int32."""
    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        return builder.bitcast(arguments[0], ir.IntType(32))
    return types.int32(types.float32), generate


@_compiled_in_place
def as_float(typing: Any, bits: Any) -> Typed:
    """The float32 of such bits."""
    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        return builder.bitcast(arguments[0], ir.FloatType())
    return types.float32(types.int32), generate


@_compiled_in_place
def read_shared(typing: Any, array: Any, index: Any) -> Typed:
    """Value that another thread may be writing; what it wrote before is seen after."""
    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        return builder.load_atomic(_place(context, builder, signature.args[0], *arguments),
                                   "acquire", 8)
    return types.int64(array, types.intp), generate


@_compiled_in_place
def write_shared(typing: Any, array: Any, index: Any, value: Any) -> Typed:
    """Write a value that other threads wait for, after all that was written before."""
    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        builder.store_atomic(arguments[2], _place(context, builder, signature.args[0],
                                                  *arguments[:2]), "release", 8)
        return context.get_dummy_value()
    return types.void(array, types.intp, types.int64), generate
