/* The function of Python's that the rules engine refers to and that Python 3.13 removed.

   durable_rules_engine 2.0.28 calls Python back by PyEval_CallObject; "What's New in Python 3.13" (C API) names
   PyObject_CallObject in its place. An engine built with -DPyEval_CallObject=PyObject_CallObject, as the README builds
   it, needs nothing from here. Built without it, by a compiler that lets an undeclared function pass, it does not load
   unless some library defines the name, which this one does in the versions of Python that do not.

   Such an engine takes what it is given back for an int, half a pointer: it can load, but it must not call back. The
   rule base asks it for no call back; whoever does is refused here. NULL is NULL at half its width too. */

#define PY_SSIZE_T_CLEAN
#include <Python.h>

#undef PyEval_CallObject /* the README's flag reaches this file as well */

#if PY_VERSION_HEX >= 0x030D0000
Py_EXPORTED_SYMBOL PyObject *PyEval_CallObject(PyObject *callable, PyObject *arguments);

PyObject *PyEval_CallObject(PyObject *Py_UNUSED(callable), PyObject *Py_UNUSED(arguments))
{
    PyErr_SetString(PyExc_SystemError,
                    "this build of the rules engine cannot call Python back. Way out: build it with "
                    "CPPFLAGS=-DPyEval_CallObject=PyObject_CallObject (pip install --force-reinstall --no-cache-dir).");
    return NULL;
}
#endif

static struct PyModuleDef definition = {
    PyModuleDef_HEAD_INIT,
    .m_name = "rules.rule_base._engine_symbols",
    .m_doc = "The function of Python's that the rules engine refers to and that Python 3.13 removed.",
    .m_size = 0,
};

PyMODINIT_FUNC PyInit__engine_symbols(void)
{
    return PyModuleDef_Init(&definition);
}
