UPDATE due_work SET unit = $into WHERE unit = $unit;
