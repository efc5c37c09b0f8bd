"""The drawing stage: what people open. `job_drawings` draws what was measured, `layout_drawings` what is laid."""
