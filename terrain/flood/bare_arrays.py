"""Reading and writing flat arrays in kernels so that their loops become vector instructions.

Numba lets an index be negative and must take any two arrays to overlap; both keep a loop over flat
arrays from being turned into vector instructions, the second one after a handful of arrays.  `get`
and `put` know neither: indices count from 0, and what is put in a loop is never got in it.
"""

from __future__ import annotations

from llvmlite import ir
from numba.core import types
from numba.extending import intrinsic


def _node(module, name):
    domain = module.add_metadata(["levelsill arrays"])
    return module.add_metadata([module.add_metadata([name, domain])])


def _place(context, builder, kind, array, index):
    return builder.gep(context.make_array(kind)(context, builder, array).data, [index],
                       inbounds=True)


@intrinsic
def get(typing, array, index):
    """Value of a flat array at an index from 0."""
    def generate(context, builder, signature, arguments):
        found = builder.load(_place(context, builder, signature.args[0], *arguments))
        found.set_metadata("noalias", _node(builder.module, "written"))
        return found
    return array.dtype(array, types.intp), generate


@intrinsic
def get_kept(typing, array, index):
    """As `get`, from an array that the loop also puts to, at the same index."""
    def generate(context, builder, signature, arguments):
        return builder.load(_place(context, builder, signature.args[0], *arguments))
    return array.dtype(array, types.intp), generate


@intrinsic
def put(typing, array, index, value):
    """Write a value of the array's own type; what the loop gets is not touched by it."""
    def generate(context, builder, signature, arguments):
        kept = builder.store(arguments[2], _place(context, builder, signature.args[0],
                                                  *arguments[:2]))
        kept.set_metadata("alias.scope", _node(builder.module, "written"))
        return context.get_dummy_value()
    return types.void(array, types.intp, array.dtype), generate


@intrinsic
def put_too(typing, array, index, value):
    """As `put`, into an array that shares nothing with those put to before in the loop."""
    def generate(context, builder, signature, arguments):
        kept = builder.store(arguments[2], _place(context, builder, signature.args[0],
                                                  *arguments[:2]))
        kept.set_metadata("alias.scope", _node(builder.module, "written"))
        kept.set_metadata("noalias", _node(builder.module, "written"))
        return context.get_dummy_value()
    return types.void(array, types.intp, array.dtype), generate


@intrinsic
def nearest(typing, value):
    """The whole number nearest to a float32, below 2^31; halves go to the even one."""
    def generate(context, builder, signature, arguments):
        rint = builder.module.declare_intrinsic("llvm.rint", [ir.FloatType()])
        return builder.fptosi(builder.call(rint, arguments), ir.IntType(32))
    return types.int32(types.float32), generate


@intrinsic
def as_bits(typing, value):
    """The bits of a float32 as an int32."""
    def generate(context, builder, signature, arguments):
        return builder.bitcast(arguments[0], ir.IntType(32))
    return types.int32(types.float32), generate


@intrinsic
def as_float(typing, bits):
    """The float32 of such bits."""
    def generate(context, builder, signature, arguments):
        return builder.bitcast(arguments[0], ir.FloatType())
    return types.float32(types.int32), generate


@intrinsic
def read_shared(typing, array, index):
    """Value that another thread may be writing; what it wrote before is seen after."""
    def generate(context, builder, signature, arguments):
        return builder.load_atomic(_place(context, builder, signature.args[0], *arguments),
                                   "acquire", 8)
    return types.int64(array, types.intp), generate


@intrinsic
def write_shared(typing, array, index, value):
    """Write a value that other threads wait for, after all that was written before."""
    def generate(context, builder, signature, arguments):
        builder.store_atomic(arguments[2], _place(context, builder, signature.args[0],
                                                  *arguments[:2]), "release", 8)
        return context.get_dummy_value()
    return types.void(array, types.intp, types.int64), generate
